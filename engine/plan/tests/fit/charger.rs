//! The shipped sequences for chargers on the bench that can energise them: nothing is left out, the sink bleeds before anything is called
//! dead, and dead is told by two instruments.

use crate::shipped::{drivers, load};
use pilotage_evidence::DecisionRule;
use pilotage_plan::files::limits::LimitsFile;
use pilotage_plan::fit::{FitRequest, fit, take_in};
use pilotage_plan::problem::Problem;
use pilotage_plan::program::{Program, SafeAct, Setting};
use pilotage_plan::{AnyFile, read};
use std::path::{Path, PathBuf};

fn sequences() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../sequences")
}

fn limits(name: &str) -> LimitsFile {
    match load(&sequences().join(format!("limits/{name}.yaml"))) {
        AnyFile::Limits(set) => set,
        other => panic!("{name}: {other:?}"),
    }
}

/// A sequence on a bench whose text may be changed.
fn fitted(sequence: &str, bench: &str, changed: impl Fn(String) -> String) -> Result<Program, Vec<Problem>> {
    let text = std::fs::read_to_string(sequences().join(format!("benches/{bench}.yaml"))).unwrap();
    let (AnyFile::Sequence(sequence), AnyFile::Item(item), AnyFile::Bench(bench)) = (
        load(&sequences().join(format!("onboard_charger/{sequence}.yaml"))),
        load(&sequences().join("items/onboard_charger_7kw.yaml")),
        read(bench, &changed(text)).unwrap(),
    ) else {
        panic!("files of other kinds")
    };
    let mut set = limits(&sequence.limits.value);
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

#[test]
fn the_quick_check_leaves_nothing_out_on_both_benches_of_chargers() {
    for bench in ["charger_bench", "charger_bench_tcp"] {
        let program = fitted("quick_check", bench, |text| text).unwrap();
        let left_out = program.heading.not_tested.iter();
        let left_out: Vec<_> = left_out.filter(|n| n.why.contains("this bench cannot")).collect();
        assert!(left_out.is_empty(), "{left_out:?}");
        assert!(program.without_source.is_none());
        assert!(program.estimate.as_secs() < 900, "{:?}", program.estimate);
    }
}

/// No offer, three seconds, the supply, and only then the sink, which holds no voltage any more while it bleeds.
#[test]
fn make_safe_stops_the_charger_before_the_supply_goes_and_bleeds_before_the_sink_goes() {
    let program = fitted("quick_check", "charger_bench", |text| text).unwrap();
    let told: Vec<String> = program
        .make_safe
        .normal
        .iter()
        .map(|act| match act {
            SafeAct::Order(order) => {
                let order = order.order();
                match &order.to {
                    Setting::Word(word) => format!("{} {word}", order.point),
                    Setting::Amount(value, _) => format!("{} {}", order.point, value.si()),
                }
            }
            SafeAct::Wait(length) => format!("wait {}", length.as_secs()),
            SafeAct::BleedUntil { read, below, off, .. } => {
                format!("{} below {} then {} off", read.point, below.si(), off.order().point)
            }
            SafeAct::ProveDead(spec) => format!("dead {}", spec.at),
            other => format!("{other:?}"),
        })
        .collect();
    let order = [
        "capture_input item",
        "pilot_source steady",
        "wait 3",
        "supply off",
        "insulation off",
        "load.voltage 0",
        "load.polarity normal",
        "load.current 0.5",
        "load on",
        "dc_output.voltage below 60 then load off",
        "low_voltage off",
        "dead dc_output",
        "dead ac_input",
    ];
    let places: Vec<Option<usize>> = order
        .iter()
        .map(|wanted| told.iter().position(|line| line == wanted))
        .collect();
    assert!(places.iter().all(Option::is_some), "{places:?} in {told:#?}");
    assert!(places.is_sorted(), "{told:#?}");
}

/// A meter that hangs would vouch for itself.
#[test]
fn one_instrument_alone_may_not_say_that_the_output_is_dead() {
    let same = |text: String| {
        text.replace(
            "dc_output.voltage: {by: analyser, function: dc_voltage, connected: differential}",
            "dc_output.voltage: {by: meter, function: dc_voltage, channel: \"301\", connected: differential}",
        )
    };
    let found = fitted("quick_check", "charger_bench", same).unwrap_err();
    let told = found.iter().filter(|problem| problem.code == "F017");
    let told: Vec<_> = told.filter_map(|problem| problem.got.as_deref()).collect();
    assert!(
        told.iter()
            .any(|got| got.contains("by another instrument than `meter`")),
        "{found:?}"
    );
}

/// What could be done without high voltage can be done on the greater bench too, which then proves what a person said before.
#[test]
fn the_check_without_high_voltage_fits_the_greater_bench() {
    let program = fitted("no_high_voltage", "charger_bench", |text| text);
    let program = program.unwrap_or_else(|found| panic!("{found:#?}"));
    assert!(program.without_source.is_none());
}
