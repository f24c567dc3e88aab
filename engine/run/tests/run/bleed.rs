//! What bleeds a charged output stays on until a reading is low enough, and where it never is, that is said and it stays on.

use crate::fakes::{value, volts};
use crate::program::{quiet, read, whole};
use crate::recorder::{Ran, run_with};
use pilotage_evidence::Event;
use pilotage_evidence::event::SafeLine;
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

#[test]
fn a_reading_that_fails_is_not_low() {
    let ran = run_with(&bleeding(), |world, _, _| {
        world.faults.borrow_mut().broken.insert("dc_output.voltage".to_owned());
    });
    assert!(!line(&ran).confirmed);
    assert_eq!(ran.outcome.exit_code, 6);
}
