//! The shipped sequences for chargers on the bench that can energise them: nothing is left out, the sink bleeds before anything is called
//! dead, and dead is told by two instruments.

use crate::build::{isolate, prove_dead, set, set_to, step, switched_on};
use crate::shipped::{self, drivers, load};
use pilotage_core::Expr;
use pilotage_evidence::DecisionRule;
use pilotage_plan::files::driver::{DriverFile, FunctionForm};
use pilotage_plan::files::limits::LimitsFile;
use pilotage_plan::files::sequence::{ActText, SequenceFile};
use pilotage_plan::fit::{FitRequest, fit, take_in};
use pilotage_plan::problem::Problem;
use pilotage_plan::program::{Program, SafeAct, Setting};
use pilotage_plan::{AnyFile, read};
use std::collections::BTreeMap;
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

/// The quick check's heading with one step of these acts, on the bench of chargers.
fn of_acts(acts: Vec<ActText>, bench: &str) -> Vec<&'static str> {
    let path = sequences().join("onboard_charger/quick_check.yaml");
    let mut sequence = shipped::sequence(load(&path));
    sequence.steps = vec![step("OB-01", acts)];
    match fitted_as(&sequence, bench, |text| text, &drivers()) {
        Ok(_) => Vec::new(),
        Err(found) => found.iter().map(|problem| problem.code).collect(),
    }
}

/// A sequence on a bench whose text may be changed.
pub(crate) fn fitted(sequence: &str, bench: &str, changed: impl Fn(String) -> String) -> Result<Program, Vec<Problem>> {
    fitted_with(sequence, bench, changed, &drivers())
}

pub(crate) fn fitted_with(
    sequence: &str,
    bench: &str,
    changed: impl Fn(String) -> String,
    drivers: &BTreeMap<String, DriverFile>,
) -> Result<Program, Vec<Problem>> {
    let sequence = shipped::sequence(load(&sequences().join(format!("onboard_charger/{sequence}.yaml"))));
    fitted_as(&sequence, bench, changed, drivers)
}

fn fitted_as(
    sequence: &SequenceFile,
    bench: &str,
    changed: impl Fn(String) -> String,
    drivers: &BTreeMap<String, DriverFile>,
) -> Result<Program, Vec<Problem>> {
    let text = std::fs::read_to_string(sequences().join(format!("benches/{bench}.yaml"))).unwrap();
    let (AnyFile::Item(item), AnyFile::Bench(bench)) = (
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
        sequence,
        item: &item,
        bench: &bench,
        drivers,
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

/// Where make safe cannot set the sink to hold nothing, the sink would be switched on with whatever was left there.
#[test]
fn a_sink_that_cannot_be_set_to_zero_is_refused() {
    let mut drivers = drivers();
    let sink = drivers.get_mut("dc_sink").unwrap();
    let voltage = sink
        .functions
        .iter_mut()
        .find(|function| function.name.value == "voltage");
    let FunctionForm::Amount { between, .. } = &mut voltage.unwrap().form else {
        panic!("the sink's voltage is an amount")
    };
    between.0.expr = Expr::parse("1 V").unwrap();
    let found = fitted_with("quick_check", "charger_bench", |text| text, &drivers).unwrap_err();
    let [problem] = found.as_slice() else {
        panic!("{found:#?}")
    };
    assert_eq!(problem.code, "F045");
    assert!(problem.message.contains("`load.voltage`"), "{problem:?}");
    // Not served at all, nobody can have set it.
    let unserved = |text: String| text.replace("  load.voltage: {by: sink, function: voltage}\n", "");
    let program = fitted_with("quick_check", "charger_bench", unserved, &drivers).unwrap();
    assert_eq!(program.make_safe.from.load_voltage_v.to_bits(), 0.0_f64.to_bits());
}

/// A sink that holds a voltage is a source that no contactor of the supply cuts; one that only draws is none.
#[test]
fn a_bench_whose_sink_can_hold_a_voltage_needs_a_contactor_of_the_sink() {
    let contactor = "  load_contactor: {by: guard, function: load_contactor}\n";
    let without = |text: String| text.replace(contactor, "");
    let found = fitted("quick_check", "charger_bench", without).unwrap_err();
    let [problem] = found.as_slice() else {
        panic!("{found:#?}")
    };
    assert_eq!(problem.code, "F017");
    let got = problem.got.as_deref().unwrap();
    assert!(
        got.contains("`load_contactor`, since `load.voltage` lets the sink hold a voltage"),
        "{got}"
    );
    let neither = |text: String| without(text).replace("  load.voltage: {by: sink, function: voltage}\n", "");
    let program = fitted("quick_check", "charger_bench", neither).unwrap();
    assert_eq!(opened(&program), [("supply_contactor", None)]);
    let program = fitted("quick_check", "charger_bench", |text| text).unwrap();
    let load = ("load_contactor", Some("load.measured_voltage"));
    assert_eq!(opened(&program), [("supply_contactor", None), load]);
    let used = pilotage_plan::points_used(&program);
    assert!(
        used.contains("load_contactor") && used.contains("load.measured_voltage"),
        "the hook-up page shows what the proof of the stop reads: {used:?}"
    );
}

/// What the stop must open, and what is read behind it.
fn opened(program: &Program) -> Vec<(&str, Option<&str>)> {
    let opens = program.stop_opens.iter();
    opens
        .map(|opens| {
            let read = opens.shows.as_ref();
            (opens.contactor.point, read.map(|read| read.point.as_str()))
        })
        .collect()
}

/// 500 V to the housing, and whatever comes on beside it is lifted by them or throws its own voltage onto the instrument.
#[test]
fn nothing_comes_on_beside_the_insulation_instrument() {
    let beside = |before: Vec<ActText>, then: ActText| {
        let acts = [before, vec![set("insulation", "on"), then]].concat();
        of_acts(acts, "charger_bench")
    };
    let volts = || vec![set_to("supply.voltage", "$supply_voltage")];
    let battery = || vec![set_to("load.voltage", "300 V")];
    let drawing = || vec![set("load", "on")];
    for (before, then, expected) in [
        (volts(), set("supply", "on"), &["F047"][..]),
        (battery(), set("load", "on"), &["F047"]),
        (drawing(), set_to("load.voltage", "300 V"), &["F047"]),
        (Vec::new(), set("low_voltage", "on"), &["F047"]),
        (Vec::new(), set("pilot_source", "pwm"), &["F047"]),
        (Vec::new(), set("pilot_source", "steady"), &[]),
        (Vec::new(), set("load", "on"), &[]),
        (Vec::new(), set("insulation", "off"), &[]),
    ] {
        assert_eq!(beside(before, then.clone()), expected, "{then:?}");
    }
    // The supply and a sink that holds a voltage belong together: that is how a charger is tested.
    let charging = [switched_on(), battery(), vec![set("load", "on")]].concat();
    assert_eq!(of_acts(charging, "charger_bench"), [""; 0]);
    let woken = vec![set("low_voltage", "on"), set("insulation", "on")];
    assert_eq!(of_acts(woken, "charger_bench"), ["F046"], "the charger is awake");
}

/// An insulation instrument of 500 V stands on nothing that feeds, holds, offers, or was not proven dead since.
#[test]
fn the_insulation_instrument_comes_on_only_where_everything_was_proven_dead() {
    let tested = || set("insulation", "on");
    let mut live = switched_on();
    live.extend([set("pilot_source", "steady"), set("supply", "off")]);
    let then = |more: Vec<ActText>| {
        let mut acts = live.clone();
        acts.extend(more);
        acts.push(tested());
        of_acts(acts, "charger_bench")
    };
    let both = || vec![prove_dead("dc_output"), prove_dead("ac_input")];
    assert_eq!(
        of_acts(vec![tested()], "charger_bench"),
        [""; 0],
        "the preamble isolated it"
    );
    assert_eq!(then(both()), [""; 0]);
    assert_eq!(then(vec![isolate()]), [""; 0]);
    assert_eq!(then(Vec::new()), ["F046"]);
    assert_eq!(then(vec![prove_dead("dc_output")]), ["F046"], "the AC pins were not");
    assert_eq!(then(vec![prove_dead("ac_input")]), ["F046"], "the DC output was not");
    let again = |mut acts: Vec<ActText>, more: Vec<ActText>| {
        acts.extend(more);
        then(acts)
    };
    assert_eq!(
        again(both(), vec![set("pilot_source", "pwm")]),
        ["F046"],
        "it is offered power"
    );
    let holds = vec![set_to("load.voltage", "300 V"), set("load", "on")];
    assert_eq!(again(both(), holds), ["F046"], "the sink holds 300 V");
    assert_eq!(
        again(both(), vec![tested(), set("insulation", "off")]),
        ["F046"],
        "its own charge was not proven away"
    );
    let supplied = [switched_on(), vec![tested()]].concat();
    assert_eq!(of_acts(supplied, "charger_bench"), ["F046"]);
}

#[test]
fn a_charger_is_told_to_go_far_beyond_its_plate_only_where_it_cannot() {
    for (point, plate) in [("command.voltage", "$dc_voltage"), ("command.current", "$dc_current")] {
        let told = |share: &str| set_to(point, &format!("{share} of {plate}"));
        let on_then = |share: &str| of_acts([switched_on(), vec![told(share)]].concat(), "charger_bench");
        let then_on = |share: &str| of_acts([vec![told(share)], switched_on()].concat(), "charger_bench");
        for (share, supplied) in [("100 %", &[][..]), ("120 %", &[]), ("121 %", &["F014"])] {
            assert_eq!(on_then(share), supplied, "{point} {share}");
            assert_eq!(
                then_on(share),
                supplied,
                "{point} {share}: obeyed as soon as there is a supply"
            );
            assert_eq!(of_acts(vec![told(share)], "charger_bench"), [""; 0], "{point} {share}");
        }
    }
}

#[test]
fn a_dip_of_the_supply_lifts_nothing() {
    for (level, expected) in [("0 %", &[][..]), ("100 %", &[]), ("101 %", &["F013"])] {
        assert_eq!(
            of_acts(vec![set_to("supply.dip_level", level)], "charger_bench"),
            expected,
            "{level}"
        );
    }
}
