//! Tables: every problem at once, messages as SCPI wants them, uncertainties as JCGM 100 wants them.

#![allow(clippy::unwrap_used)]

mod shipped;

use super::Tables;
use super::tables::{Ends, Serves};
use super::texts::{asks_operation_condition, channel_sendable, decimal, joined, unknown_placeholder};
use super::values::datum;
use crate::scpi::Number;
use crate::testing::files::{bench, driver, formula, measure, point, sp};
use pilotage_core::{Measured, NoValue, Uncertainty, Unit};
use pilotage_plan::files::bench::ServiceText;
use pilotage_plan::files::driver::{AccuracyText, FunctionForm};
use proptest::prelude::*;
use std::collections::BTreeMap;

fn tables() -> Tables {
    Tables::compile(&bench(), &[driver()]).unwrap()
}

fn measured(tables: &Tables, point: &str, number: f64) -> Measured {
    let service = &tables.services[point];
    let Serves::Measure(measure) = &service.serves else {
        panic!("{point} is not measured");
    };
    datum(service, measure, Number::Value(number), 17).unwrap()
}

fn terms(measured: &Measured) -> BTreeMap<&str, f64> {
    match &measured.uncertainty {
        Uncertainty::Known(terms) => terms.iter().map(|term| (term.source.as_str(), term.standard)).collect(),
        Uncertainty::Unknown(why) => panic!("unknown: {why}"),
    }
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-12 * b.abs()
}

#[test]
fn accuracy_becomes_rectangular_contributions() {
    // JCGM 100, 4.3.7: a / √3. 0.06 % of 230 V, 0.03 % of 750 V, half of 0.1 mV.
    let tables = tables();
    let reading = measured(&tables, "ac_output[L-N].voltage", 230.0);
    let terms = terms(&reading);
    assert_eq!(terms.len(), 3);
    assert!(near(terms["desk ac_voltage: gain"], 0.138 / 3f64.sqrt()));
    assert!(near(terms["desk ac_voltage: range"], 0.225 / 3f64.sqrt()));
    assert!(near(
        terms["desk ac_voltage: resolution, reading 17"],
        0.05e-3 / 3f64.sqrt()
    ));
}

#[test]
fn a_probe_scales_value_and_contributions() {
    let tables = tables();
    let reading = measured(&tables, "probe.voltage", -1.5);
    assert!(near(reading.value.si(), -300.0));
    let terms = terms(&reading);
    assert!(near(terms["desk ac_voltage: gain"], -300.0 * 0.0006 / 3f64.sqrt()));
    assert!(near(terms["desk ac_voltage: range"], 200.0 * 0.225 / 3f64.sqrt()));
    assert!(near(terms["probe.voltage: probe ratio"], -3.0));
}

#[test]
fn expanded_figures_are_divided_by_their_factor() {
    let mut driver = driver();
    let accuracy = AccuracyText {
        of_reading: Some(formula("1 %")),
        of_range: None,
        range: None,
        fixed: Some(formula("20 mV")),
        resolution: None,
        coverage: Some(2.0),
    };
    driver.functions[4].form = measure("V", "MEASure:ECHO? {channel}", Some(accuracy));
    let tables = Tables::compile(&bench(), &[driver]).unwrap();
    let reading = measured(&tables, "ac_output[L-N].voltage", 100.0);
    let terms = terms(&reading);
    assert!(near(terms["desk ac_voltage: gain"], 0.5));
    assert!(near(terms["desk ac_voltage: fixed"], 0.01));
}

#[test]
fn unstated_accuracy_stays_unknown_and_no_number_gives_no_value() {
    let tables = tables();
    let warm = measured(&tables, "terminal.temperature", 25.0);
    assert!(near(warm.value.si(), 298.15));
    assert!(
        matches!(&warm.uncertainty, Uncertainty::Unknown(why) if why.contains("desk") && why.contains("temperature"))
    );
    let service = &tables.services["ac_output[L-N].voltage"];
    let Serves::Measure(table) = &service.serves else {
        panic!()
    };
    assert_eq!(
        datum(service, table, Number::Overload { negative: false }, 1),
        Err(NoValue::Overload)
    );
    assert_eq!(datum(service, table, Number::NotANumber, 1), Err(NoValue::NotANumber));
}

#[test]
fn messages_carry_the_error_query() {
    let tables = tables();
    let Serves::Choose(choices) = &tables.services["load"].serves else {
        panic!()
    };
    assert_eq!(choices[0].message.text(), "INPut ON;:SYSTem:ERRor?");
    assert_eq!(
        joined(["*RST", "*CLS", "INP ON", ":OUTP OFF", "SYST:ERR?"]),
        "*RST;*CLS;:INP ON;:OUTP OFF;:SYST:ERR?"
    );
    let Serves::Capture(capture) = &tables.services["ac_output[L-N]"].serves else {
        panic!()
    };
    assert_eq!(capture.fetch.text(), "TRACe:DATA? (@2)");
    assert_eq!(capture.ends, Ends::AtQuietRegister);
    assert!(near(capture.offset_standard, 0.02 / 3f64.sqrt()));
}

#[test]
fn a_capture_ends_by_its_query() {
    assert!(asks_operation_condition(":stat:OPERation:cond?"));
    assert!(!asks_operation_condition("STATus:OPERation?"));
    assert!(!asks_operation_condition("ACQuire:STATe?"));
    assert_eq!(Ends::AtQuietRegister.ended(256), Some(false));
    assert_eq!(Ends::AtQuietRegister.ended(8), Some(false));
    assert_eq!(Ends::AtQuietRegister.ended(0), Some(true));
    assert_eq!(Ends::AtQuietRegister.ended(-1), None);
    assert_eq!(Ends::AtOne.ended(1), Some(true));
    assert_eq!(Ends::AtOne.ended(0), Some(false));
    assert_eq!(Ends::AtOne.ended(256), None);
}

#[test]
fn all_problems_of_the_files_come_at_once() {
    let mut bench = bench();
    bench.points = vec![
        point("a", "nothing", ""),
        point("b", "ac_voltage", ""),
        point("c", "ac_voltage", "1;*RST"),
        ServiceText {
            by: sp("nobody"),
            ..point("d", "input", "")
        },
        point("e", "current", ""),
        point("f", "waveform", "1"),
        ServiceText {
            ratio: Some(formula("0")),
            ..point("g", "ac_voltage", "1")
        },
        point("h", "temperature", "1"),
        point("i", "input", ""),
    ];
    let mut driver = driver();
    driver.functions[0].form = match driver.functions[0].form.clone() {
        FunctionForm::Choose(mut choices) => {
            choices[0].1.send[0] = sp("INPut ON\n*RST");
            FunctionForm::Choose(choices)
        }
        other => other,
    };
    if let FunctionForm::Amount { send, .. } = &mut driver.functions[2].form {
        send[0] = sp("CURRent {valu}");
    }
    if let FunctionForm::Capture(capture) = &mut driver.functions[8].form {
        capture.highest_rate = formula("20 V");
    }
    if let FunctionForm::Measure(measure) = &mut driver.functions[6].form {
        measure.accuracy = Some(AccuracyText {
            of_reading: None,
            of_range: None,
            range: None,
            fixed: Some(formula("1 °C")),
            resolution: None,
            coverage: None,
        });
    }
    let problems = Tables::compile(&bench, &[driver]).unwrap_err();
    let wanted = [
        "no function `nothing`",
        "needs a channel",
        "cannot be a channel",
        "`nobody`",
        "unknown placeholder `{valu}`",
        "another dimension",
        "a ratio of 0",
        "a temperature, not a difference",
        "not printable ASCII",
    ];
    assert_eq!(problems.len(), wanted.len(), "{problems:#?}");
    for problem in &problems {
        assert!(problem.place.starts_with("desk.yaml:7"), "{problem}");
        assert!(!problem.mend.is_empty(), "{problem}");
    }
    for part in wanted {
        assert!(
            problems.iter().any(|problem| problem.what.contains(part)),
            "{part} is missing in {problems:#?}"
        );
    }
}

#[test]
fn channels_and_placeholders_cannot_smuggle_commands() {
    for channel in ["101", "1.2", "A:B", "3!1"] {
        assert!(channel_sendable(channel), "{channel}");
    }
    for channel in ["", "1;*RST", "1)", "1\n", "1 2", "{value}", "1,2"] {
        assert!(!channel_sendable(channel), "{channel:?}");
    }
    assert_eq!(
        unknown_placeholder("A {value} {channel}", &["{value}", "{channel}"]),
        None
    );
    assert_eq!(unknown_placeholder("A {value", &["{value}"]), Some("{value"));
}

#[test]
fn decimals_are_the_shortest() {
    let unit = |symbol: &str| Unit::find(symbol).unwrap();
    for (si, symbol, text) in [
        (0.1 + 0.2, "V", "0.30000000000000004"),
        (0.3, "V", "0.3"),
        (2.4e-9, "F", "2.4E-9"),
        (2.4e-9, "nF", "2.4"),
        (0.0123, "mA", "12.3"),
        (32.0, "A", "32"),
        (1825.0, "kΩ", "1.825"),
        (-0.0, "V", "0"),
        (2e10, "Hz", "2E10"),
        (0.35, "%", "35"),
    ] {
        assert_eq!(decimal(si, unit(symbol)), text, "{si} in {symbol}");
    }
}

proptest! {
    #[test]
    fn decimals_come_back_as_the_same_value(si in -1e6..1e6f64, pick in 0usize..6) {
        let unit = Unit::find(["V", "mV", "kΩ", "nF", "MHz", "min"][pick]).unwrap();
        let text = decimal(si, unit);
        let Number::Value(number) = Number::parse(&text).unwrap() else { panic!() };
        let back = unit.to_si(number);
        prop_assert!((back - si).abs() <= 4.0 * f64::EPSILON * si.abs(), "{} {} gave {}", text, unit.symbol, back);
    }
}
