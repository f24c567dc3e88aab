//! The shipped drivers, benches and sequences go through the tables, and a bench that lacks something is found out.

use crate::interpret::Tables;
use crate::testing::shipped::{bench, benches, drivers, program, programs};
use pilotage_plan::program::{ActKind, CaptureSpec};

#[test]
fn every_shipped_bench_serves_every_shipped_sequence() {
    let drivers = drivers();
    for bench in benches() {
        let tables = Tables::compile(&bench, drivers.values()).unwrap();
        for program in programs(&bench, &drivers) {
            assert_eq!(tables.prepare(&program).err(), None);
        }
    }
}

#[test]
fn the_benches_of_inlets_and_cables_serve_their_sequences() {
    let drivers = drivers();
    for (sequence, item, name) in [
        ("inlet/resistances", "inlet_type_1", "cable_bench"),
        ("inlet/resistances", "inlet_type_2", "cable_bench_tcp"),
        ("cable/assembly", "cable_type_1", "cable_bench"),
        ("cable/assembly", "cable_type_2", "cable_bench_tcp"),
        ("inlet/by_hand", "inlet_type_1", "hand_held"),
        ("cable/by_hand", "cable_type_2", "hand_held"),
    ] {
        let bench = bench(name);
        let tables = Tables::compile(&bench, drivers.values()).unwrap();
        let program = program(sequence, item, &bench, &drivers);
        assert_eq!(tables.prepare(&program).err(), None, "{sequence} {item}");
    }
}

#[test]
fn each_point_that_is_taken_away_is_missed_by_name() {
    let drivers = drivers();
    let bench = &benches()[0];
    let whole = Tables::compile(bench, drivers.values()).unwrap();
    let programs = programs(bench, &drivers);
    let mut missed = Vec::new();
    for point in whole.services.keys() {
        let mut lacking = whole.clone();
        lacking.services.remove(point);
        let problems: Vec<_> = programs
            .iter()
            .filter_map(|program| lacking.prepare(program).err())
            .flatten()
            .collect();
        assert!(
            problems
                .iter()
                .all(|problem| problem.place == *point && !problem.mend.is_empty()),
            "{problems:?}"
        );
        if !problems.is_empty() {
            missed.push(point.as_str());
        }
    }
    for point in [
        "supply",
        "pilot_load",
        "load.current",
        "burden",
        "reference",
        "reference.voltage",
        "reference.dc_voltage",
        "enclosure",
        "terminal.temperature",
        "pilot",
        "ac_output[L-PE].voltage",
        "ac_output[N-PE].dc_voltage",
        "ac_input[L-N].voltage",
    ] {
        assert!(
            missed.contains(&point),
            "{point} was not missed; missed were {missed:?}"
        );
    }
}

#[test]
fn amounts_and_rates_beyond_the_instruments_are_found_before_the_run() {
    let drivers = drivers();
    let bench = &benches()[0];
    let tables = Tables::compile(bench, drivers.values()).unwrap();
    let mut program = programs(bench, &drivers).remove(0);
    let capture = program
        .steps
        .iter_mut()
        .flat_map(|step| &mut step.acts)
        .find_map(|act| match &mut act.kind {
            ActKind::Capture(capture) => Some(capture),
            _ => None,
        });
    let capture: &mut CaptureSpec = capture.unwrap();
    capture.rate = 1e9;
    let points = capture.of.clone();
    let problems = tables.prepare(&program).unwrap_err();
    assert_eq!(problems.len(), points.len(), "{problems:?}");
    assert!(
        problems.iter().all(|problem| problem.what.contains("samples a second")),
        "{problems:?}"
    );
}
