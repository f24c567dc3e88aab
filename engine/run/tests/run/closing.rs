//! A look at the bench that is taken once more at the end: what was read in between counts only while it is met.

use crate::fakes::volts;
use crate::program::{Builder, judge, read};
use crate::recorder::{Ran, run_with};
use pilotage_core::Tolerance;
use pilotage_evidence::Verdict::{self, Error, Fail, Pass};
use pilotage_evidence::heading::Closing;
use pilotage_evidence::{Event, Side};
use pilotage_plan::program::{ActKind, Program};

const OUTPUT: &str = "ac_output[L-N].voltage";

fn demand(at_least_v: f64) -> ActKind {
    let mut demand = judge("v", Tolerance::AtLeast(volts(at_least_v)));
    if let ActKind::Judge(specs) = &mut demand {
        "bench.capture_of_mains".clone_into(&mut specs[0].limits[0].key);
    }
    demand
}

/// A look at the bench that is met, a step of the item, and the look again.
fn closed(item: Tolerance, again_at_least_v: f64) -> Program {
    let mut program = Builder::new()
        .step("BC-05")
        .act(ActKind::Read(vec![read("v", OUTPUT, "V")]))
        .act(demand(-1e6))
        .step("WU-20")
        .set("supply", "on")
        .set("pilot_load", "state_C")
        .act(ActKind::Read(vec![read("v", OUTPUT, "V")]))
        .act(judge("v", item))
        .step("BC-05")
        .act(demand(again_at_least_v))
        .build();
    program.heading.closings = vec![Closing { step: 2, since: 0 }];
    program
}

fn steps(ran: &Ran) -> Vec<Verdict> {
    ran.steps().iter().skip(3).map(|(verdict, _)| *verdict).collect()
}

fn ended(ran: &Ran) -> (Verdict, Vec<u8>) {
    match ran.events.last() {
        Some((_, Event::RunEnded { verdict, codes, .. })) => (*verdict, codes.clone()),
        other => panic!("{other:?}"),
    }
}

const MET: f64 = -1e6;
const MISSED: f64 = 1e6;

#[test]
fn where_the_bench_is_as_before_every_verdict_stands() {
    let ran = run_with(&closed(Tolerance::AtLeast(volts(MISSED)), MET), |_, _, _| {});
    assert_eq!(steps(&ran), [Pass, Fail, Pass]);
    assert_eq!(ended(&ran), (Fail, vec![1]));
}

#[test]
fn where_it_is_not_neither_a_fail_nor_a_pass_in_between_counts() {
    for item in [Tolerance::AtLeast(volts(MISSED)), Tolerance::AtLeast(volts(MET))] {
        let ran = run_with(&closed(item, MISSED), |_, _, _| {});
        let [first, between, again] = steps(&ran)[..] else {
            panic!("three steps")
        };
        assert_eq!((first, again), (Pass, Error));
        assert_ne!(between, Error, "the journal keeps what it came to");
        // No code 1: the item is not blamed.
        assert_eq!(ended(&ran), (Error, vec![5, 3]));
        let because = ran.steps()[5].1.clone().unwrap();
        assert!(
            because.ends_with("no verdict since BC-05 scripted BC-05 counts"),
            "{because}"
        );
        assert!(ran.events.iter().any(|(_, event)| matches!(
            event,
            Event::StepEnded {
                step: 5,
                side: Some(Side::Bench),
                ..
            }
        )));
    }
}
