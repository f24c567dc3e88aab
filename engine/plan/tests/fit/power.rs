//! Analyses of captured voltage and current, written as YAML, read and fitted.

use crate::build::{Files, step};
use crate::shipped;
use pilotage_core::{Dimension, Unit};
use pilotage_plan::files::power::{PowerFind, PowerTake};
use pilotage_plan::files::sequence::ActForm;
use pilotage_plan::fit::code;
use pilotage_plan::program::{ActKind, Find, FindSpec};
use pilotage_plan::read;

const U: &str = "\"ac_output[L-N]\"";
const I: &str = "\"ac_output[L]\"";

/// A dead step that captures voltage, current and pilot for so long, and looks for one thing.
fn files(length: &str, rate: &str, analysis: &str) -> Files {
    let analysis = analysis.replace("$U", U).replace("$I", I);
    let text = format!(
        "pilotage: sequence/1\ntitle: T\nitem: wall_unit\nlimits: test_limits\nsteps:\n  - step: one\n    id: WU-01\n    do:\n      \
         - capture: {{of: [pilot, {U}, {I}], for: {length}, rate: {rate}}}\n      - find: {{x: {analysis}}}\n"
    );
    let file = read("power.yaml", &text).unwrap_or_else(|problems| panic!("{problems:#?}"));
    let file = shipped::sequence(file);
    let acts = file.steps.into_iter().flat_map(|step| step.acts).collect();
    Files::new(vec![step("WU-01", acts)])
}

fn fitted(analysis: &str) -> FindSpec {
    let program = files("1 s", "20 kHz", analysis)
        .fit()
        .unwrap_or_else(|p| panic!("{p:#?}"));
    let acts = program.steps[0].acts.iter();
    let mut finds = acts.filter_map(|act| match &act.kind {
        ActKind::Find(specs) => specs.first().cloned(),
        _ => None,
    });
    finds.next().unwrap()
}

fn codes(length: &str, rate: &str, analysis: &str) -> Vec<&'static str> {
    files(length, rate, analysis).codes()
}

#[test]
fn every_analysis_has_its_unit() {
    let pair = "{voltage: $U, current: $I}";
    for (analysis, unit) in [
        (format!("{{power: {pair}, take: active}}"), "W"),
        (format!("{{power: {pair}, take: apparent}}"), "VA"),
        (format!("{{power: {pair}, take: non_active}}"), "var"),
        (format!("{{power: {pair}, take: displacement}}"), ""),
        (format!("{{power: {pair}, take: angle}}"), "°"),
        (format!("{{power: {pair}, take: frequency}}"), "Hz"),
        (format!("{{efficiency: {{output: {pair}, input: {pair}}}}}"), "%"),
        ("{harmonic: $I, line: $U, order: 39, grouping: group}".to_owned(), "A"),
        (
            "{distortion: $I, line: $U, grouping: subgroup, take: thd}".to_owned(),
            "%",
        ),
        (
            "{distortion: $I, line: $U, grouping: line, take: partial_weighted}".to_owned(),
            "A",
        ),
        ("{ripple: $U, bandwidth: 2 kHz, take: span}".to_owned(), "V"),
        ("{ripple: $I, line: $U, take: rms}".to_owned(), "A"),
        ("{inrush: $I, take: peak}".to_owned(), "A"),
        ("{inrush: $I, above: 30 A, take: square_time}".to_owned(), "A²s"),
        (
            "{response: \"ac_output[L].envelope\", change: {pilot.high: {falls_through: 7 V}}, band: 5 %, take: time}"
                .to_owned(),
            "ms",
        ),
        (
            "{response: $I, change: {pilot: {falls_through: 7 V}}, band: 5 %, take: overshoot}".to_owned(),
            "A",
        ),
    ] {
        let spec = fitted(&analysis);
        assert_eq!(spec.unit, unit, "{analysis}");
        assert!(matches!(spec.find, Find::Power(_)), "{analysis}");
        assert!(unit.is_empty() || Unit::find(unit).is_some());
    }
    let spec = fitted("{power: {voltage: $U, current: $I}, take: factor}");
    let Find::Power(PowerFind::Power { of, take }) = spec.find else {
        panic!("power expected")
    };
    assert_eq!(
        (of.voltage.as_str(), of.current.as_str(), take),
        ("ac_output[L-N]", "ac_output[L]", PowerTake::Factor)
    );
    assert_eq!(
        Unit::find("A²s").unwrap().dimension,
        Dimension::from_exponents([0, 0, 1, 2, 0, 0, 0])
    );
}

#[test]
fn a_capture_that_cannot_show_it_is_refused() {
    let harmonic = |order: &str| format!("{{harmonic: $I, line: $U, order: {order}, grouping: group}}");
    let power = "{power: {voltage: $U, current: $I}, take: active}";
    for (length, rate, analysis, wanted) in [
        ("210 ms", "20 kHz", harmonic("40"), vec![]),
        ("195 ms", "20 kHz", harmonic("40"), vec![code::NO_ANALYSIS]),
        ("1 s", "5 kHz", harmonic("39"), vec![]),
        ("1 s", "5 kHz", harmonic("40"), vec![code::NO_ANALYSIS]),
        ("1 s", "20 kHz", harmonic("41"), vec![code::NO_ANALYSIS]),
        ("1 s", "20 kHz", harmonic("2.5"), vec![code::NO_ANALYSIS]),
        ("70 ms", "20 kHz", power.to_owned(), vec![]),
        ("40 ms", "20 kHz", power.to_owned(), vec![code::NO_ANALYSIS]),
        ("1 s", "900 Hz", power.to_owned(), vec![code::NO_ANALYSIS]),
        (
            "100 ms",
            "20 kHz",
            "{ripple: $I, bandwidth: 2.1 kHz, take: span}".to_owned(),
            vec![code::NO_ANALYSIS],
        ),
        (
            "5 ms",
            "20 kHz",
            "{ripple: $I, bandwidth: 200 Hz, take: span}".to_owned(),
            vec![code::NO_ANALYSIS],
        ),
        (
            "1 s",
            "20 kHz",
            "{ripple: $I, bandwidth: 0 Hz, take: span}".to_owned(),
            vec![code::NO_ANALYSIS],
        ),
        (
            "1 s",
            "20 kHz",
            "{response: pilot.high, change: {pilot.high: {falls_through: 7 V}}, band: 5 %, take: time}".to_owned(),
            vec![code::NO_ANALYSIS],
        ),
    ] {
        assert_eq!(codes(length, rate, &analysis), wanted, "{length} {rate} {analysis}");
    }
}

#[test]
fn what_was_not_captured_or_is_of_another_kind_is_refused() {
    for (analysis, wanted) in [
        (
            "{power: {voltage: $I, current: $U}, take: active}",
            vec![code::DIMENSION, code::DIMENSION],
        ),
        (
            "{power: {voltage: $U, current: \"ac_output[L2]\"}, take: active}",
            vec![code::NO_CAPTURE],
        ),
        (
            "{harmonic: $I, line: $I, order: 3, grouping: group}",
            vec![code::DIMENSION],
        ),
        ("{inrush: $U, take: peak}", vec![code::DIMENSION]),
        ("{inrush: $I, above: 30 V, take: time_above}", vec![code::DIMENSION]),
    ] {
        assert_eq!(codes("1 s", "20 kHz", analysis), wanted, "{analysis}");
    }
}

#[test]
fn a_ripple_has_a_bandwidth_or_a_line() {
    for wrong in [
        "{ripple: pilot, take: span}",
        "{ripple: pilot, bandwidth: 1 kHz, line: pilot, take: span}",
        "{harmonic: pilot, line: pilot, order: 3}",
        "{power: {voltage: pilot}, take: active}",
    ] {
        let text = format!(
            "pilotage: sequence/1\ntitle: T\nitem: wall_unit\nlimits: x\nsteps:\n  - step: one\n    id: WU-01\n    do:\n      - find: {{x: {wrong}}}\n"
        );
        assert!(read("power.yaml", &text).is_err(), "{wrong}");
    }
    let text = "pilotage: sequence/1\ntitle: T\nitem: wall_unit\nlimits: x\nsteps:\n  - step: one\n    id: WU-01\n    do:\n      - find: {x: {ripple: pilot, line: pilot, take: span}}\n";
    let file = shipped::sequence(read("power.yaml", text).expect("it is well formed"));
    assert!(matches!(file.steps[0].acts[0].form, ActForm::Find(_)));
}
