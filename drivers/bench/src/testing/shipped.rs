//! The shipped drivers, benches and sequences, read from where they lie.

use pilotage_evidence::DecisionRule;
use pilotage_plan::files::bench::BenchFile;
use pilotage_plan::files::driver::DriverFile;
use pilotage_plan::fit::{FitRequest, fit};
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

pub(crate) fn benches() -> Vec<BenchFile> {
    let bench = |file: &PathBuf| match lowered(file) {
        AnyFile::Bench(bench) => bench,
        other => panic!("{} is a {:?}", file.display(), other.kind()),
    };
    files("sequences/benches").iter().map(bench).collect()
}

pub(crate) fn programs(bench: &BenchFile, drivers: &BTreeMap<String, DriverFile>) -> Vec<Program> {
    let AnyFile::Item(item) = lowered(&files("sequences/items").pop().unwrap()) else {
        panic!()
    };
    let program = |file: &PathBuf| {
        let AnyFile::Sequence(sequence) = lowered(file) else {
            panic!()
        };
        let named = format!("sequences/limits/{}.yaml", sequence.limits.value);
        let own = files("sequences/limits")
            .into_iter()
            .find(|file| file.ends_with(&named));
        let AnyFile::Limits(limits) = lowered(&own.unwrap()) else {
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
