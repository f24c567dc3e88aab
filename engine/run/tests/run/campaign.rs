//! Faults at random: whatever breaks, the run ends, the orders of make safe are sent, and nothing is dead that was not
//! measured.

use crate::fakes::{Tape, value};
use crate::program::whole;
use crate::recorder::{Ran, run_with};
use pilotage_core::NoValue;
use pilotage_evidence::Event;
use proptest::prelude::*;
use std::time::Duration;

/// Points that this program reads or sets.
const POINTS: [&str; 14] = [
    "enclosure",
    "hard_wired_stop",
    "supply_contactor",
    "terminal.temperature",
    "ac_output[L-N].voltage",
    "ac_output[N-PE].dc_voltage",
    "ac_input[L-PE].voltage",
    "reference.voltage",
    "reference.dc_voltage",
    "supply",
    "pilot_load",
    "load.current",
    "burden",
    "reference",
];
const GUARDS: usize = 4;

#[derive(Debug, Clone, Copy)]
enum Fault {
    Broken,
    NoNumber,
    Wrong,
    Mute,
}

fn faults() -> impl Strategy<Value = (usize, Fault, u64, bool)> {
    let kind = prop_oneof![
        Just(Fault::Broken),
        Just(Fault::NoNumber),
        Just(Fault::Wrong),
        Just(Fault::Mute)
    ];
    (0..POINTS.len(), kind, 0..30_000u64, any::<bool>())
}

fn run_faulty((point, fault, at_ms, welded): (usize, Fault, u64, bool)) -> Ran {
    let at = Duration::from_millis(at_ms);
    run_with(&whole(), |world, _, _| {
        let mut faults = world.faults.borrow_mut();
        faults.welded = welded;
        let name = POINTS[point].to_owned();
        match fault {
            Fault::Broken => faults.broken.extend([name]),
            Fault::NoNumber => drop(faults.later.insert(name, (at, Err(NoValue::NotANumber)))),
            Fault::Wrong => drop(faults.later.insert(name, (at, value(120.0, "V")))),
            // Only what is read by guards has a deadline of the runner; all else has the driver's.
            Fault::Mute if point < GUARDS => {
                faults.mute.extend([name]);
                // The first reads belong to BC-11, where the driver's deadline counts.
                faults.mute_from = Some(at.max(Duration::from_secs(14)));
            }
            Fault::Mute => {}
        }
    })
}

/// Every order that makes safe was sent after the last that energised.
fn made_safe(ran: &Ran) -> bool {
    let sent = ran.world.sent();
    let energised = sent
        .iter()
        .rposition(|order| order == "supply on" || order == "pilot_load state_C")
        .unwrap_or(0);
    let after = &sent[energised..];
    ["supply off", "pilot_load state_A", "load.current 0", "load off"]
        .iter()
        .all(|wanted| after.iter().any(|o| o == wanted))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_breaks_the_run_ends_and_makes_safe(fault in faults()) {
        let ran = run_faulty(fault);
        prop_assert!(made_safe(&ran));
        let last = ran.events.last().map(|(_, event)| event.clone());
        let Some(Event::RunEnded { exit_code, .. }) = last else {
            return Err(TestCaseError::fail("the last event is not the end"));
        };
        prop_assert_eq!(exit_code, ran.outcome.exit_code);
        let confirmed = ran.events.iter().rev().find_map(|(_, event)| match event {
            Event::MadeSafe { confirmed, .. } => Some(*confirmed),
            _ => None,
        });
        prop_assert_eq!(confirmed, Some(ran.outcome.exit_code != 6));
        prop_assert_eq!(ran.outcome.not_confirmed_dead.is_some(), ran.outcome.exit_code == 6);
        let tape = ran.world.tape.borrow();
        let intents = tape.iter().filter(|entry| **entry == Tape::Appended("Intent".to_owned())).count();
        let energised = ran.world.sent().iter().filter(|o| *o == "supply on" || *o == "pilot_load state_C").count();
        prop_assert!(energised <= intents);
    }
}
