//! The shipped drivers, benches and sequences, read from where they lie.

use pilotage_evidence::DecisionRule;
use pilotage_plan::files::bench::BenchFile;
use pilotage_plan::files::driver::DriverFile;
use pilotage_plan::files::limits::LimitsFile;
use pilotage_plan::fit::{FitRequest, fit, take_in};
use pilotage_plan::program::Program;
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

pub(crate) fn drivers() -> BTreeMap<String, DriverFile> {
    let named = |file: &PathBuf| match lowered(file) {
        AnyFile::Driver(driver) => (driver.name.value.clone(), driver),
        other => panic!("{} is a {:?}", file.display(), other.kind()),
    };
    files("drivers/files").iter().map(named).collect()
}

/// A shipped file by its path below `sequences`.
fn shipped(name: &str) -> AnyFile {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../sequences");
    lowered(&root.join(format!("{name}.yaml")))
}

pub(crate) fn bench(name: &str) -> BenchFile {
    match shipped(&format!("benches/{name}")) {
        AnyFile::Bench(bench) => bench,
        other => panic!("{name} is a {:?}", other.kind()),
    }
}

/// The benches of wall units.
pub(crate) fn benches() -> Vec<BenchFile> {
    ["mid_bench", "mid_bench_tcp"].map(bench).into()
}

fn limits(name: &str) -> LimitsFile {
    match shipped(&format!("limits/{name}")) {
        AnyFile::Limits(limits) => limits,
        other => panic!("{name} is a {:?}", other.kind()),
    }
}

/// A sequence for an item on a bench, with the limits that it names.
pub(crate) fn program(sequence: &str, item: &str, bench: &BenchFile, drivers: &BTreeMap<String, DriverFile>) -> Program {
    let (AnyFile::Sequence(sequence), AnyFile::Item(item)) = (shipped(sequence), shipped(&format!("items/{item}"))) else {
        panic!("{sequence} or {item} is of another kind")
    };
    let mut set = limits(&sequence.limits.value);
    for further in &sequence.more_limits {
        take_in(&mut set, limits(&further.value)).unwrap();
    }
    let request = FitRequest {
        sequence: &sequence,
        item: &item,
        bench,
        drivers,
        limits: &set,
        decision_rule: DecisionRule::Simple,
        inputs: &[],
    };
    fit(request).unwrap()
}

/// The programs for wall units.
pub(crate) fn programs(bench: &BenchFile, drivers: &BTreeMap<String, DriverFile>) -> Vec<Program> {
    ["wall_unit/acceptance_single_phase", "wall_unit/quick_check"]
        .map(|sequence| program(sequence, "wall_unit_32a", bench, drivers))
        .into()
}
