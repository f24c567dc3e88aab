//! A bench that is a person with meters: the person's word stands for *isolated*, and is judged; nothing is sent.

use crate::program::{Builder, ask_for_plate};
use crate::recorder::{Ran, run_with};
use pilotage_evidence::Verdict;
use pilotage_evidence::heading::InstrumentPlate;
use pilotage_plan::program::Program;

fn by_hand() -> Program {
    let mut program = Builder::new().step("HT-12").act(ask_for_plate()).build();
    program.hand_held = true;
    program.make_safe.normal.clear();
    program.make_safe.emergency.clear();
    program.heading.bench.instruments.push(InstrumentPlate {
        name: "multimeter".to_owned(),
        driver: "Hand-held multimeter".to_owned(),
        link: InstrumentPlate::READ_BY_A_PERSON.to_owned(),
        serial: "H-0001".to_owned(),
        calibrated_until: None,
    });
    program
}

/// Answers in the order in which they are asked for.
fn answered(answers: &[&str]) -> Ran {
    run_with(&by_hand(), |_, _, people| {
        people
            .answers
            .replace(answers.iter().rev().map(|answer| (*answer).to_owned()).collect());
    })
}

fn verdicts(ran: &Ran) -> Vec<Verdict> {
    ran.steps().into_iter().map(|(verdict, _)| verdict).collect()
}

#[test]
fn a_person_says_which_meter_and_that_nothing_is_live() {
    let ran = answered(&["yes", "yes", "yes"]);
    assert_eq!(
        verdicts(&ran),
        [Verdict::Pass, Verdict::NotRun, Verdict::Pass, Verdict::Pass]
    );
    assert_eq!(ran.outcome.exit_code, 0);
    assert!(ran.world.sent().is_empty(), "{:?}", ran.world.sent());
    assert!(!ran.names().contains(&"MadeSafe".to_owned()), "nothing was ordered");
}

#[test]
fn a_doubt_ends_the_run_before_hands_go_to_the_item() {
    let ran = answered(&["yes", "no", "yes"]);
    assert_eq!(
        verdicts(&ran),
        [Verdict::Pass, Verdict::NotRun, Verdict::Error, Verdict::NotRun]
    );
    assert_eq!(ran.outcome.exit_code, 5);
}

#[test]
fn another_meter_is_an_error_of_the_bench() {
    let ran = answered(&["no", "yes", "yes"]);
    assert_eq!(verdicts(&ran)[0], Verdict::Error);
    assert_eq!(ran.outcome.exit_code, 5);
}

#[test]
fn a_meter_whose_calibration_has_run_out_is_an_error_of_the_bench() {
    let mut program = by_hand();
    let meter = program.heading.bench.instruments.last_mut().unwrap();
    meter.calibrated_until = Some("2026-04-30".to_owned());
    let ran = run_with(&program, |_, _, _| {});
    assert_eq!(verdicts(&ran)[0], Verdict::Error);
}
