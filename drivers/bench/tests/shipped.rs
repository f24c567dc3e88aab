//! The shipped drivers, benches and sequences go through the tables, and a bench that lacks something is found out.

#![allow(clippy::unwrap_used)]

use pilotage_bench::Tables;
use pilotage_evidence::DecisionRule;
use pilotage_plan::files::bench::BenchFile;
use pilotage_plan::files::driver::DriverFile;
use pilotage_plan::fit::{FitRequest, fit};
use pilotage_plan::program::{ActKind, CaptureSpec, Program};
use pilotage_plan::{AnyFile, read};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

fn files(folder: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(folder);
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    files.retain(|file| file.extension().is_some_and(|end| end == "yaml"));
    files.sort();
    assert!(!files.is_empty());
    files
}

fn lowered(file: &Path) -> AnyFile {
    let name = file.file_name().unwrap().to_str().unwrap();
    read(name, &std::fs::read_to_string(file).unwrap()).unwrap()
}

fn drivers() -> BTreeMap<String, DriverFile> {
    let named = |file: &PathBuf| match lowered(file) {
        AnyFile::Driver(driver) => (driver.name.value.clone(), driver),
        other => panic!("{} is a {:?}", file.display(), other.kind()),
    };
    files("drivers/files").iter().map(named).collect()
}

fn benches() -> Vec<BenchFile> {
    let bench = |file: &PathBuf| match lowered(file) {
        AnyFile::Bench(bench) => bench,
        other => panic!("{} is a {:?}", file.display(), other.kind()),
    };
    files("sequences/benches").iter().map(bench).collect()
}

fn programs(bench: &BenchFile, drivers: &BTreeMap<String, DriverFile>) -> Vec<Program> {
    let AnyFile::Item(item) = lowered(&files("sequences/items").pop().unwrap()) else {
        panic!()
    };
    let AnyFile::Limits(limits) = lowered(&files("sequences/limits")[0]) else {
        panic!()
    };
    let program = |file: &PathBuf| {
        let AnyFile::Sequence(sequence) = lowered(file) else {
            panic!()
        };
        let request = FitRequest {
            sequence: &sequence,
            item: &item,
            bench,
            drivers,
            limits: &limits,
            decision_rule: DecisionRule::Simple,
            inputs: &[],
        };
        fit(request).unwrap()
    };
    files("sequences/wall_unit").iter().map(program).collect()
}

#[test]
fn every_shipped_bench_serves_every_shipped_sequence() {
    let drivers = drivers();
    for bench in benches() {
        let tables = Tables::compile(&bench, drivers.values()).unwrap();
        for program in programs(&bench, &drivers) {
            assert_eq!(tables.check(&program), []);
        }
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
        let problems: Vec<_> = programs.iter().flat_map(|program| lacking.check(program)).collect();
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
    let problems = tables.check(&program);
    assert_eq!(problems.len(), points.len(), "{problems:?}");
    assert!(
        problems.iter().all(|problem| problem.what.contains("samples a second")),
        "{problems:?}"
    );
}
