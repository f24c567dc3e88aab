//! What bleeds a charged output stays on until a reading is low enough, and where it never is, that is said and it stays on.

use crate::fakes::{value, volts};
use crate::program::{order, proof, quiet, read, whole};
use crate::recorder::{Ran, run_with};
use pilotage_evidence::event::SafeLine;
use pilotage_evidence::{Event, ItemKind};
use pilotage_plan::energy::{BenchState, Typed};
use pilotage_plan::program::{Program, SafeAct};
use std::time::Duration;

/// A program whose make safe bleeds a point before it takes the bleeder away.
fn bleeding() -> Program {
    let mut program = whole();
    let bleed = SafeAct::BleedUntil {
        read: read("left", "dc_output.voltage", "V"),
        below: volts(60.0),
        deadline: Duration::from_secs(20),
        off: quiet("burden", "off"),
    };
    for plan in [&mut program.make_safe.normal, &mut program.make_safe.emergency] {
        let proof = plan.len() - 1;
        plan.insert(proof, bleed.clone());
    }
    program
}

/// The line of bleeding, the last that was run.
fn line(ran: &Ran) -> SafeLine {
    let lines = ran.events.iter().rev().find_map(|(_, event)| match event {
        Event::MadeSafe { lines, .. } => Some(lines.clone()),
        _ => None,
    });
    let found = lines.unwrap().into_iter().find(|line| line.what.starts_with("bleed"));
    found.unwrap()
}

#[test]
fn what_bleeds_goes_off_below_the_level() {
    let ran = run_with(&bleeding(), |world, _, _| {
        let mut faults = world.faults.borrow_mut();
        faults.answers.insert("dc_output.voltage".to_owned(), value(30.0, "V"));
    });
    assert!(line(&ran).confirmed, "{:?}", line(&ran));
    assert_eq!(ran.outcome.exit_code, 0);
}

#[test]
fn what_bleeds_stays_on_above_the_level_and_that_is_said_first() {
    for left in [60.0, 380.0, -380.0] {
        let ran = run_with(&bleeding(), |world, _, _| {
            let mut faults = world.faults.borrow_mut();
            faults.answers.insert("dc_output.voltage".to_owned(), value(left, "V"));
        });
        assert!(!line(&ran).confirmed, "{left} V");
        assert_eq!(ran.outcome.exit_code, 6, "{left} V");
        let said = ran.outcome.not_confirmed_dead.clone().unwrap();
        assert!(said.contains("burden stays on"), "{said}");
    }
}

/// A sink of a charger that must hold no voltage before it is switched on to bleed.
fn with_a_sink() -> Program {
    let mut program = bleeding();
    program.heading.item.kind = ItemKind::OnboardCharger;
    let mut state = BenchState::unknown();
    let mut typed = |point: &str, to: &str| {
        let (typed, after) = state.order(ItemKind::OnboardCharger, order(point, to));
        state = after;
        match typed {
            Typed::Quiet(order) => order,
            Typed::Energising(order) => panic!("{order:?} can energise"),
        }
    };
    let acts = vec![
        SafeAct::Order(typed("supply", "off")),
        SafeAct::Order(typed("pilot_source", "off")),
        SafeAct::Order(typed("load.voltage", "0 V")),
        SafeAct::Order(typed("load", "on")),
        SafeAct::BleedUntil {
            read: read("left", "dc_output.voltage", "V"),
            below: volts(60.0),
            deadline: Duration::from_secs(20),
            off: typed("load", "off"),
        },
        SafeAct::ProveDead(proof("ac_output")),
    ];
    program.make_safe.normal.clone_from(&acts);
    program.make_safe.emergency = acts;
    program
}

#[test]
fn a_sink_that_may_still_hold_a_voltage_is_not_switched_on_to_bleed() {
    let bled = run_with(&with_a_sink(), |world, _, _| {
        let mut faults = world.faults.borrow_mut();
        faults.answers.insert("dc_output.voltage".to_owned(), value(30.0, "V"));
    });
    assert!(
        bled.world.sent().contains(&"load on".to_owned()),
        "{:?}",
        bled.world.sent()
    );
    assert_eq!(bled.outcome.exit_code, 0);

    let held = run_with(&with_a_sink(), |world, _, _| {
        let mut faults = world.faults.borrow_mut();
        faults.answers.insert("dc_output.voltage".to_owned(), value(30.0, "V"));
        faults.broken.insert("load.voltage".to_owned());
    });
    let sent = held.world.sent();
    assert!(!sent.contains(&"load on".to_owned()), "{sent:?}");
    assert!(
        sent.contains(&"load off".to_owned()),
        "what may hold goes off: {sent:?}"
    );
    let said = held.outcome.not_confirmed_dead.clone().unwrap();
    assert!(said.contains("set load to on (left out"), "{said}");
    assert!(said.contains("load.voltage"), "{said}");
    assert_eq!(held.outcome.exit_code, 6);
}

#[test]
fn a_reading_that_fails_is_not_low() {
    let ran = run_with(&bleeding(), |world, _, _| {
        world.faults.borrow_mut().broken.insert("dc_output.voltage".to_owned());
    });
    assert!(!line(&ran).confirmed);
    assert_eq!(ran.outcome.exit_code, 6);
}
