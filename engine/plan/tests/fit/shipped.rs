//! The shipped sequences fit the shipped items and benches under every shipped limit set for wall units.

use pilotage_evidence::{DecisionRule, EnergyState, ItemKind};
use pilotage_plan::files::driver::DriverFile;
use pilotage_plan::fit::{FitRequest, fit, fitness};
use pilotage_plan::program::Program;
use pilotage_plan::render::{Form, render_all};
use pilotage_plan::{AnyFile, read};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

fn folder(name: &str) -> Vec<(String, AnyFile)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let mut paths: Vec<PathBuf> = std::fs::read_dir(root.join(name))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    paths.retain(|path| path.extension().is_some_and(|extension| extension == "yaml"));
    paths.sort();
    assert!(!paths.is_empty(), "{name} is empty");
    paths.iter().map(|path| (short(path), load(path))).collect()
}

fn short(path: &Path) -> String {
    path.file_stem().unwrap().to_string_lossy().into_owned()
}

pub(crate) fn load(path: &Path) -> AnyFile {
    let text = std::fs::read_to_string(path).unwrap();
    read(&short(path), &text).unwrap_or_else(|found| panic!("{}", render_all(&found, &|_| None, Form::Short)))
}

pub(crate) fn drivers() -> BTreeMap<String, DriverFile> {
    let files = folder("drivers/files").into_iter();
    files
        .map(|(name, file)| match file {
            AnyFile::Driver(driver) => (driver.name.value.clone(), driver),
            other => panic!("{name} is {other:?}"),
        })
        .collect()
}

fn serves(file: &AnyFile, point: &str) -> bool {
    matches!(file, AnyFile::Bench(bench) if bench.points.iter().any(|served| served.point.value == point))
}

/// Other sets limit what a wall unit does not have.
fn is_for_wall_units(file: &AnyFile) -> bool {
    let AnyFile::Limits(set) = file else { return false };
    set.limits
        .iter()
        .any(|limit| limit.key.value == "contactor.close_delay")
}

/// Calls back with every program, and says what it was fitted from.
fn every_program(mut with: impl FnMut(&str, &Program)) {
    let drivers = drivers();
    let (sequences, mut items) = (folder("sequences/wall_unit"), folder("sequences/items"));
    let (mut benches, mut limits) = (folder("sequences/benches"), folder("sequences/limits"));
    items.retain(|(_, file)| matches!(file, AnyFile::Item(item) if item.kind.value == ItemKind::WallUnit));
    benches.retain(|(_, file)| serves(file, "pilot_load"));
    limits.retain(|(_, file)| is_for_wall_units(file));
    assert_eq!(limits.len(), 2, "{limits:?}");
    for (sequence_name, sequence) in &sequences {
        for (item_name, item) in &items {
            for (bench_name, bench) in &benches {
                for (limits_name, limits) in &limits {
                    let name = format!("{sequence_name} {item_name} {bench_name} {limits_name}");
                    let (AnyFile::Sequence(sequence), AnyFile::Item(item)) = (sequence, item) else {
                        panic!("{name}")
                    };
                    let (AnyFile::Bench(bench), AnyFile::Limits(limits)) = (bench, limits) else {
                        panic!("{name}")
                    };
                    let request = FitRequest {
                        sequence,
                        item,
                        bench,
                        drivers: &drivers,
                        limits,
                        decision_rule: DecisionRule::Simple,
                        inputs: &[],
                    };
                    let program = fit(request)
                        .unwrap_or_else(|found| panic!("{name}:\n{}", render_all(&found, &|_| None, Form::Short)));
                    assert!(!fitness(&program, bench, &drivers).is_empty(), "{name}");
                    with(&name, &program);
                }
            }
        }
    }
}

#[test]
fn every_shipped_sequence_fits() {
    every_program(|name, program| {
        assert!(program.steps.len() >= 10, "{name}");
        let first = program.steps.iter().flat_map(|step| &step.acts).next().unwrap();
        assert_eq!(first.before, EnergyState::Isolated, "{name}");
    });
}

#[test]
fn the_quick_check_takes_less_than_ten_minutes_and_leaves_nothing_out() {
    every_program(|name, program| {
        if name.starts_with("quick_check") {
            assert!(program.estimate.as_secs() < 600, "{name}: {:?}", program.estimate);
            let left_out = program
                .heading
                .not_tested
                .iter()
                .filter(|n| n.why.contains("this bench cannot"));
            assert_eq!(left_out.count(), 0, "{name}: {:?}", program.heading.not_tested);
        }
    });
}

#[test]
fn every_need_of_a_shipped_sequence_is_met_by_the_shipped_benches() {
    let drivers = drivers();
    let benches = folder("sequences/benches");
    every_program(|name, program| {
        let (_, bench) = benches
            .iter()
            .find(|(bench, _)| name.split(' ').nth(2) == Some(bench))
            .unwrap();
        let AnyFile::Bench(bench) = bench else { panic!("{name}") };
        for found in fitness(program, bench, &drivers) {
            assert!(found.decidable, "{name}: {found:?}");
        }
    });
}
