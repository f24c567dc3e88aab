//! The shipped drivers, benches and sequences, read from where they lie.

use pilotage_evidence::DecisionRule;
use pilotage_plan::files::bench::BenchFile;
use pilotage_plan::files::chapter::ChapterFile;
use pilotage_plan::files::driver::DriverFile;
use pilotage_plan::files::limits::LimitsFile;
use pilotage_plan::files::sequence::SequenceFile;
use pilotage_plan::fit::{FitRequest, fit, take_in, whole};
use pilotage_plan::frame_driver::driver_of;
use pilotage_plan::program::Program;
use pilotage_plan::source::Sp;
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
    let mut drivers: BTreeMap<String, DriverFile> = files("drivers/files").iter().map(named).collect();
    for file in files("drivers/files/frames") {
        let AnyFile::Frames(frames) = lowered(&file) else {
            panic!("{} says nothing of frames", file.display())
        };
        drivers.insert(frames.name.value.clone(), driver_of(&frames));
    }
    drivers
}

/// Every shipped bench with its name.
pub(crate) fn benches() -> Vec<(String, BenchFile)> {
    let bench = |file: &PathBuf| match lowered(file) {
        AnyFile::Bench(bench) => (stem(file), bench),
        other => panic!("{} is a {:?}", file.display(), other.kind()),
    };
    files("sequences/benches").iter().map(bench).collect()
}

/// The bench of wall units, in memory.
pub(crate) fn mid_bench() -> BenchFile {
    benches().into_iter().find(|(name, _)| name == "mid_bench").unwrap().1
}

fn stem(file: &Path) -> String {
    file.file_stem().unwrap().to_str().unwrap().to_owned()
}

/// The shipped sequences that were written for a bench of this name, fitted to it with their own item and limits. What a
/// bench offers over TCP has the name of the one in memory with `_tcp` behind it.
pub(crate) fn programs(name: &str, bench: &BenchFile, drivers: &BTreeMap<String, DriverFile>) -> Vec<Program> {
    let wanted = name.strip_suffix("_tcp").unwrap_or(name);
    let program = |sequence: SequenceFile| {
        let AnyFile::Item(item) = named("items", sequence.default_item.as_ref().unwrap()) else {
            panic!()
        };
        let mut limits = limits(&sequence.limits);
        for further in &sequence.more_limits {
            take_in(&mut limits, self::limits(further)).unwrap();
        }
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
    let programs: Vec<Program> = sequences()
        .into_iter()
        .filter(|sequence| {
            sequence
                .default_bench
                .as_ref()
                .is_some_and(|bench| bench.value == wanted)
        })
        .map(program)
        .collect();
    assert!(!programs.is_empty(), "no shipped sequence is for {name}");
    programs
}

fn limits(name: &Sp<String>) -> LimitsFile {
    match named("limits", name) {
        AnyFile::Limits(limits) => limits,
        other => panic!("{} is a {:?}", name.value, other.kind()),
    }
}

fn chapter(name: &Sp<String>) -> ChapterFile {
    match named("chapters", name) {
        AnyFile::Chapter(chapter) => chapter,
        other => panic!("{} is a {:?}", name.value, other.kind()),
    }
}

fn named(folder: &str, name: &Sp<String>) -> AnyFile {
    let folder = files(&format!("sequences/{folder}"));
    lowered(folder.iter().find(|file| stem(file) == name.value).unwrap())
}

fn sequences() -> Vec<SequenceFile> {
    let folders = std::fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../sequences")).unwrap();
    let mut kinds: Vec<String> = folders
        .map(|folder| folder.unwrap().file_name().into_string().unwrap())
        .filter(|folder| !["benches", "chapters", "defects", "items", "limits", "sides"].contains(&folder.as_str()))
        .collect();
    kinds.sort();
    let sequence = |file: PathBuf| match lowered(&file) {
        AnyFile::Sequence(written) => whole(written, &mut |name| Ok(chapter(name))).unwrap(),
        other => panic!("{} is a {:?}", file.display(), other.kind()),
    };
    kinds
        .iter()
        .flat_map(|kind| files(&format!("sequences/{kind}")))
        .map(sequence)
        .collect()
}
