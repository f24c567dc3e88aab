//! The shipped sequences for inlets and cables: they fit their items on both benches, and the two readings of a cable's code stay
//! apart.

use crate::build::{set, set_to, step};
use crate::shipped::{self, drivers, load};
use pilotage_evidence::{DecisionRule, EnergyState};
use pilotage_plan::AnyFile;
use pilotage_plan::files::limits::LimitsFile;
use pilotage_plan::files::sequence::SequenceFile;
use pilotage_plan::fit::{FitRequest, fit, take_in};
use pilotage_plan::problem::Problem;
use pilotage_plan::program::{Program, SafeAct};
use pilotage_plan::render::{Form, render_all};
use std::path::Path;

fn file(name: &str) -> AnyFile {
    load(&Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../../sequences/{name}.yaml")))
}

fn limits(name: &str) -> LimitsFile {
    match file(&format!("limits/{name}")) {
        AnyFile::Limits(limits) => limits,
        other => panic!("{name} is {other:?}"),
    }
}

/// Fits by the names that stand in the sequence, with this set of codes.
fn fitted(sequence: &str, item: &str, bench: &str, first_set: &str) -> Program {
    let fitted = fitted_as((sequence, |_| {}), item, bench, first_set);
    fitted.unwrap_or_else(|found| panic!("{}", render_all(&found, &|_| None, Form::Short)))
}

/// The same with a sequence that is changed before.
fn fitted_as(
    (sequence, change): (&str, impl FnOnce(&mut SequenceFile)),
    item: &str,
    bench: &str,
    first_set: &str,
) -> Result<Program, Vec<Problem>> {
    let mut sequence = shipped::sequence(file(sequence));
    let (item, bench) = (file(&format!("items/{item}")), file(&format!("benches/{bench}")));
    let (AnyFile::Item(item), AnyFile::Bench(bench)) = (item, bench) else {
        panic!("the files are of other kinds")
    };
    change(&mut sequence);
    let mut set = limits(first_set);
    for further in &sequence.more_limits {
        take_in(&mut set, limits(&further.value)).unwrap();
    }
    fit(FitRequest {
        sequence: &sequence,
        item: &item,
        bench: &bench,
        drivers: &drivers(),
        limits: &set,
        decision_rule: DecisionRule::GuardBanded,
        inputs: &[],
    })
}

fn left_out(program: &Program) -> Vec<String> {
    let not_tested = program.heading.not_tested.iter();
    not_tested
        .filter(|entry| entry.why.contains("this bench"))
        .map(|entry| format!("{}: {}", entry.what, entry.why))
        .collect()
}

#[test]
fn the_cable_bench_leaves_nothing_out() {
    for (sequence, items, set) in [
        (
            "inlet/resistances",
            ["inlet_type_1", "inlet_type_2"],
            "inlets_and_cables",
        ),
        ("cable/assembly", ["cable_type_1", "cable_type_2"], "proximity_coding_1"),
        ("cable/assembly", ["cable_type_1", "cable_type_2"], "proximity_coding_2"),
    ] {
        for item in items {
            for bench in ["cable_bench", "cable_bench_tcp"] {
                let program = fitted(sequence, item, bench, set);
                assert_eq!(left_out(&program), Vec::<String>::new(), "{sequence} {item} {bench}");
                assert!(!program.make_safe.normal.is_empty());
            }
        }
    }
}

/// A fail while isolated must withhold what energises, so everything that can be done isolated comes first.
#[test]
fn nothing_is_isolated_again_after_the_first_energising_step() {
    for (sequence, item, set) in [
        ("inlet/resistances", "inlet_type_1", "inlets_and_cables"),
        ("cable/assembly", "cable_type_1", "proximity_coding_1"),
    ] {
        let program = fitted(sequence, item, "cable_bench", set);
        let isolated: Vec<bool> = program
            .steps
            .iter()
            .filter(|step| step.skipped.is_none())
            .map(|step| step.acts.iter().all(|act| act.before == EnergyState::Isolated))
            .collect();
        let first = isolated.iter().position(|isolated| !isolated).unwrap();
        assert!(
            isolated[first..].iter().all(|isolated| !isolated),
            "{sequence}: {isolated:?}"
        );
        assert!(isolated[..first].len() >= 7, "{sequence}: {isolated:?}");
    }
}

#[test]
fn by_hand_nothing_is_sent_and_nothing_is_proven_by_the_program() {
    for (sequence, item, set) in [
        ("inlet/by_hand", "inlet_type_1", "inlets_and_cables"),
        ("inlet/by_hand", "inlet_type_2", "inlets_and_cables"),
        ("cable/by_hand", "cable_type_1", "proximity_coding_1"),
        ("cable/by_hand", "cable_type_2", "proximity_coding_2"),
    ] {
        let program = fitted(sequence, item, "hand_held", set);
        assert!(program.hand_held && program.without_source.is_some());
        let mut lines = program.make_safe.normal.iter().chain(&program.make_safe.emergency);
        assert!(lines.all(|line| matches!(line, SafeAct::NothingThere(_) | SafeAct::Wait(_))));
        let mut acts = program.steps.iter().flat_map(|step| &step.acts);
        assert!(acts.all(|act| act.before == EnergyState::Isolated && act.after == EnergyState::Isolated));
        let notes = program.heading.bench.notes.join(" ");
        assert!(notes.contains("a person measured every pair dead by hand"), "{notes}");
    }
}

/// Whoever mixes them would not know which band decided.
#[test]
fn two_readings_of_a_code_cannot_be_mixed() {
    let mut first = limits("proximity_coding_1");
    let clashes = take_in(&mut first, limits("proximity_coding_2")).unwrap_err();
    assert_eq!(clashes.len(), 4);
    assert!(clashes.iter().all(|problem| problem.code == "F033"), "{clashes:?}");
}

/// The insulation instrument stands in the place of the supply, and the current source is a source of its own.
#[test]
fn the_insulation_instrument_and_the_current_source_never_meet() {
    let both = [set("supply", "on"), set("load", "on")];
    let turned = [set("load", "on"), set("supply", "on")];
    let apart = [set("supply", "on"), set("supply", "off"), set("load", "on")];
    for (acts, expected) in [(&both[..], &["F047"][..]), (&turned, &["F047"]), (&apart, &[])] {
        let acts = [vec![set_to("supply.voltage", "500 V")], acts.to_vec()].concat();
        let change = |sequence: &mut SequenceFile| sequence.steps = vec![step("CA-00", acts)];
        let found = fitted_as(
            ("cable/assembly", change),
            "cable_type_2",
            "cable_bench",
            "proximity_coding_1",
        );
        let codes: Vec<&str> = found.err().iter().flatten().map(|problem| problem.code).collect();
        assert_eq!(codes, expected);
    }
}
