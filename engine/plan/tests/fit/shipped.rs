//! The shipped sequences fit the shipped items and benches: those for wall units under every limit set for them, that for a
//! charger without high voltage on a bench that cannot energise it.

use pilotage_evidence::{DecisionRule, EnergyState, ItemKind};
use pilotage_plan::files::driver::DriverFile;
use pilotage_plan::files::sequence::SequenceFile;
use pilotage_plan::fit::{FitRequest, fit, fitness, whole};
use pilotage_plan::frame_driver::driver_of;
use pilotage_plan::program::{ActKind, Program, SafeAct, with_inner};
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

/// A sequence with those of the shipped chapters that it names.
pub(crate) fn sequence(file: AnyFile) -> SequenceFile {
    let written = match file {
        AnyFile::Sequence(written) => written,
        other => panic!("{:?}", other.kind()),
    };
    let chapters = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../sequences/chapters");
    let joined = whole(
        written,
        &mut |name| match load(&chapters.join(format!("{}.yaml", name.value))) {
            AnyFile::Chapter(chapter) => Ok(chapter),
            other => panic!("{}: {:?}", name.value, other.kind()),
        },
    );
    joined.unwrap_or_else(|found| panic!("{}", render_all(&found, &|_| None, Form::Short)))
}

pub(crate) fn drivers() -> BTreeMap<String, DriverFile> {
    let files = folder("drivers/files")
        .into_iter()
        .chain(folder("drivers/files/frames"));
    files
        .map(|(name, file)| match file {
            AnyFile::Driver(driver) => (driver.name.value.clone(), driver),
            AnyFile::Frames(frames) => (frames.name.value.clone(), driver_of(&frames)),
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

/// Benches that load what a wall unit gives.
fn wall_unit_benches() -> Vec<(String, AnyFile)> {
    let mut benches = folder("sequences/benches");
    benches.retain(|(_, file)| serves(file, "pilot_load"));
    benches
}

/// Calls back with every program, and says what it was fitted from.
fn every_program(mut with: impl FnMut(&str, &Program)) {
    let drivers = drivers();
    let (sequences, items) = (folder("sequences/wall_unit"), folder("sequences/items"));
    let sequences: Vec<_> = sequences
        .into_iter()
        .map(|(name, file)| (name, sequence(file)))
        .collect();
    let items: Vec<_> = items
        .into_iter()
        .filter(|(_, file)| matches!(file, AnyFile::Item(item) if item.kind.value == ItemKind::WallUnit))
        .collect();
    let (benches, mut limits) = (wall_unit_benches(), folder("sequences/limits"));
    limits.retain(|(_, file)| is_for_wall_units(file));
    assert_eq!(limits.len(), 2, "{limits:?}");
    for (sequence_name, sequence) in &sequences {
        for (item_name, item) in &items {
            for (bench_name, bench) in &benches {
                for (limits_name, limits) in &limits {
                    let name = format!("{sequence_name} {item_name} {bench_name} {limits_name}");
                    let (AnyFile::Item(item), AnyFile::Bench(bench), AnyFile::Limits(limits)) = (item, bench, limits)
                    else {
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
    let benches = wall_unit_benches();
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

/// The charger's sequence with the small workshop's bench, whose text may be changed.
fn small_workshop(changed: impl Fn(String) -> String) -> Result<Program, Vec<pilotage_plan::problem::Problem>> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let of = |path: &str| load(&root.join("sequences").join(path));
    let bench = changed(std::fs::read_to_string(root.join("sequences/benches/small_workshop.yaml")).unwrap());
    let bench = read("small_workshop", &bench).unwrap();
    let sequence = sequence(of("onboard_charger/no_high_voltage.yaml"));
    let (AnyFile::Item(item), AnyFile::Limits(limits), AnyFile::Bench(bench)) = (
        of("items/onboard_charger_7kw.yaml"),
        of("limits/iec_61851_1_2017_vehicle.yaml"),
        bench,
    ) else {
        panic!("files of other kinds")
    };
    fit(FitRequest {
        sequence: &sequence,
        item: &item,
        bench: &bench,
        drivers: &drivers(),
        limits: &limits,
        decision_rule: DecisionRule::Simple,
        inputs: &[],
    })
}

/// Nothing on this bench can energise, so nothing is energising, nothing is proven, and a person is asked instead.
#[test]
fn on_a_bench_without_a_source_everything_is_quiet_and_a_person_measures_dead() {
    let program = small_workshop(|bench| bench).unwrap();
    let acts = program.steps.iter().flat_map(|step| with_inner(&step.acts));
    for act in acts {
        assert!(!matches!(act.kind, ActKind::Energise(_)), "{act:?}");
        assert_eq!(
            (act.before, act.after),
            (EnergyState::Isolated, EnergyState::Isolated),
            "{act:?}"
        );
    }
    let without = program.without_source.expect("nothing serves `supply` or `load`");
    for pair in ["L-N", "L-PE", "N-PE", "plus-minus", "plus-PE", "minus-PE"] {
        assert!(without.prompt.contains(pair), "{}", without.prompt);
    }
    for lines in [&program.make_safe.normal, &program.make_safe.emergency] {
        assert!(!lines.iter().any(|line| matches!(line, SafeAct::ProveDead(_))));
        assert!(matches!(lines.last(), Some(SafeAct::NothingThere(points)) if points.contains("supply")));
        assert!(
            lines
                .iter()
                .all(|line| !matches!(line, SafeAct::Order(order) if order.order().point == "supply"))
        );
    }
    assert!(
        !program.make_safe.by_hand.contains("dead"),
        "{}",
        program.make_safe.by_hand
    );
    let left_out = program
        .heading
        .not_tested
        .iter()
        .filter(|n| n.why.contains("this bench cannot"));
    assert_eq!(left_out.count(), 0, "{:?}", program.heading.not_tested);
}

/// As soon as one instrument could energise, everything that keeps people from harm is demanded again.
#[test]
fn one_point_of_a_source_brings_every_demand_back() {
    for point in [
        "supply.voltage: {by: low_voltage, function: voltage}",
        "load: {by: low_voltage, function: output}",
    ] {
        let with = |bench: String| bench.replace("points:\n", &format!("points:\n  {point}\n"));
        let found = small_workshop(with).unwrap_err();
        let missing = found
            .iter()
            .find(|problem| problem.code == "F017")
            .expect("it is refused");
        for wanted in [
            "`supply`",
            "`burden`",
            "`hard_wired_stop`",
            "`dc_output.voltage`",
            "`dead_burden`",
        ] {
            assert!(
                missing.got.as_deref().unwrap().contains(wanted),
                "{wanted}: {missing:?}"
            );
        }
    }
}

/// What the bench serves must be whole, source or not: make safe needs its words.
#[test]
fn a_pilot_source_that_cannot_be_taken_off_is_refused() {
    let other = |bench: String| {
        bench.replace(
            "pilot_source: {by: pilot_source, function: pilot}",
            "pilot_source: {by: pilot_source, function: proximity}",
        )
    };
    let found = small_workshop(other).unwrap_err();
    let says = |problem: &pilotage_plan::problem::Problem| problem.got.clone().unwrap_or_default();
    assert!(
        found
            .iter()
            .any(|problem| says(problem).contains("`pilot_source` with off, steady")),
        "{found:?}"
    );
}
