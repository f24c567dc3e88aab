//! The proof of the hard-wired stop on a bench whose load can hold a voltage: both contactors, and what the load then shows.

use crate::fakes::{Faults, value, volts};
use crate::program::{opens, read, whole};
use crate::recorder::{Ran, run_with};
use pilotage_core::{NoValue, Tolerance};
use pilotage_evidence::Event;
use pilotage_evidence::ItemKind::OnboardCharger;
use pilotage_evidence::Verdict::{Error, Pass};
use pilotage_plan::program::Program;

/// What the load shows at itself.
const SHOWN: &str = "load.measured_voltage";

/// Dead is what lies between −60 V and 60 V.
fn two_contactors() -> Program {
    let mut program = whole();
    let load = opens(OnboardCharger, "load_contactor", Some(read(SHOWN, SHOWN, "V")));
    program.stop_opens.push(load);
    "IEC 61140".clone_into(&mut program.dead.limits.1.standard);
    program.dead.limits.1.tolerance = Tolerance::Between(volts(-60.0), volts(60.0));
    program
}

fn spoilt(spoil: impl FnOnce(&mut Faults)) -> Ran {
    run_with(&two_contactors(), |world, _, _| spoil(&mut world.faults.borrow_mut()))
}

#[test]
fn both_contactors_are_seen_to_open_and_what_the_load_shows_is_judged() {
    let ran = spoilt(|_| {});
    assert_eq!(
        (ran.outcome.exit_code, ran.steps()[2].0),
        (0, Pass),
        "{:?}",
        ran.steps()
    );
    for stop in ["enclosure", "hard_wired_stop"] {
        for what in [
            "seen",
            "contactor_delay",
            "load_contactor_delay",
            "load_measured_voltage",
        ] {
            let reading = ran.reading(&format!("{stop}_{what}"));
            assert!(reading.value.is_some() && !reading.exchanges.is_empty(), "{reading:?}");
        }
    }
    let judged = ran.events.iter().filter_map(|(_, event)| match event {
        Event::Judged(judgement) if judgement.name == "hard_wired_stop_load_measured_voltage" => Some(judgement),
        _ => None,
    });
    let judged: Vec<_> = judged.map(|judgement| judgement.limit.standard.as_str()).collect();
    assert_eq!(
        judged,
        ["IEC 61140"],
        "by the limit that says what is dead, with its source"
    );
}

#[test]
fn a_load_that_is_not_cut_withholds_every_permit() {
    type Spoil = fn(&mut Faults);
    let spoils: [(&str, Spoil, &str); 6] = [
        (
            "stuck",
            |f| f.load_contactor_stuck = true,
            "the contactor of the sink was not seen open",
        ),
        (
            "input stuck open",
            |f| drop(f.words.insert("load_contactor".to_owned(), "open".to_owned())),
            "load_contactor must read closed",
        ),
        (
            "it still shows a voltage",
            |f| drop(f.answers.insert(SHOWN.to_owned(), value(61.0, "V"))),
            "behind the open contactor of the sink load.measured_voltage is more than a touch voltage",
        ),
        (
            "or one the other way round",
            |f| drop(f.answers.insert(SHOWN.to_owned(), value(-61.0, "V"))),
            "behind the open contactor of the sink load.measured_voltage is more than a touch voltage",
        ),
        (
            "no number",
            |f| drop(f.answers.insert(SHOWN.to_owned(), Err(NoValue::NotANumber))),
            "or could not be read",
        ),
        (
            "no answer",
            |f| f.broken.extend([SHOWN.to_owned()]),
            "load.measured_voltage: expected an answer, got error -200",
        ),
    ];
    for (what, spoil, why) in spoils {
        let ran = spoilt(spoil);
        let (verdict, because) = ran.steps()[2].clone();
        assert_eq!((ran.outcome.exit_code, verdict), (5, Error), "{what}");
        assert!(
            because.as_ref().is_some_and(|because| because.contains(why)),
            "{what}: {because:?}"
        );
        assert!(!ran.names().contains(&"Intent".to_owned()), "{what}");
    }
}
