//! The shipped drivers, benches and sequences go through the tables, and a bench that lacks something is found out.

use crate::interpret::Tables;
use crate::testing::shipped::{benches, drivers, mid_bench, programs};
use pilotage_plan::program::{ActKind, CaptureSpec};

#[test]
fn every_shipped_bench_serves_every_shipped_sequence() {
    let drivers = drivers();
    for (name, bench) in benches() {
        let tables = Tables::compile(&bench, drivers.values()).unwrap();
        for program in programs(&name, &bench, &drivers) {
            assert_eq!(tables.prepare(&program).err(), None);
        }
    }
}

#[test]
fn each_point_that_is_taken_away_is_missed_by_name() {
    let drivers = drivers();
    let bench = &mid_bench();
    let whole = Tables::compile(bench, drivers.values()).unwrap();
    let programs = programs("mid_bench", bench, &drivers);
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
    let bench = &mid_bench();
    let tables = Tables::compile(bench, drivers.values()).unwrap();
    let mut program = programs("mid_bench", bench, &drivers).remove(0);
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
