//! The bench and the drivers that the tests fit to.

use crate::build::{f, sp, span};
use pilotage_plan::files::bench::{BenchFile, InstrumentText, LinkText, ServiceText};
use pilotage_plan::files::driver::{
    AccuracyText, CaptureText, ChoiceText, DriverFile, FunctionForm, FunctionText, MeasureText,
};
use std::collections::BTreeMap;

pub(crate) fn service(point: &str, by: &str, function: &str, connected: Option<&str>) -> ServiceText {
    ServiceText {
        point: sp(point),
        by: sp(by),
        function: sp(function),
        channel: None,
        connected: connected.map(sp),
        ratio: None,
        ratio_standard: None,
        span: span(),
    }
}

pub(crate) fn bench() -> BenchFile {
    let instrument = |name: &str| InstrumentText {
        name: sp(name),
        driver: sp(name),
        link: LinkText::Virtual,
        serial: sp("S-1"),
        calibrated_until: None,
    };
    BenchFile {
        title: sp("Test bench"),
        instruments: [
            "meter",
            "scope",
            "load",
            "source",
            "relays",
            "guard",
            "reference",
            "thermometer",
        ]
        .map(instrument)
        .into(),
        hand_held: Vec::new(),
        points: bench_points(),
        stop_name: Some(sp("the red button S1")),
        isolator_name: Some(sp("Q1")),
        supply_protected_by: Some(sp("30 mA type B residual device F1")),
        ambient: None,
        dead_burden: Some(f("100 kΩ")),
    }
}

pub(crate) fn bench_points() -> Vec<ServiceText> {
    let mut points = vec![
        service("supply", "source", "output", None),
        service("supply.voltage", "source", "voltage", None),
        service("supply.frequency", "source", "frequency", None),
        service("pilot", "scope", "waveform", None),
        service("ac_output[L-N]", "scope", "waveform", Some("differential")),
        service("ac_output[L]", "scope", "current_wave", Some("isolated")),
        service("ac_output[L].current", "load", "measured_current", None),
        service("path[L].voltage", "meter", "ac_voltage", Some("differential")),
        service("path[L].resistance", "meter", "resistance", None),
        service("proximity.resistance", "meter", "resistance", None),
        service("pilot.high", "scope", "high", None),
        service("pilot.low", "scope", "low", None),
        service("pilot_load", "relays", "pilot_load", None),
        service("pilot_load.resistance", "relays", "ladder", None),
        service("pilot_load.resistance", "meter", "resistance", None),
        service("pilot_load.diode", "relays", "diode", None),
        service("pilot_load.capacitance", "relays", "capacitance", None),
        service("load", "load", "input", None),
        service("load.current", "load", "current", None),
        service("burden", "relays", "burden", None),
        service("reference", "reference", "output", None),
        service("reference.voltage", "meter", "ac_voltage", None),
        service("reference.dc_voltage", "meter", "dc_voltage", None),
        service("enclosure", "guard", "enclosure", None),
        service("hard_wired_stop", "guard", "stop", None),
        service("supply_contactor", "guard", "contactor", None),
        service("terminal.temperature", "thermometer", "temperature", None),
    ];
    for place in ["ac_input", "ac_output"] {
        for pair in ["L-N", "L-PE", "N-PE"] {
            points.push(service(
                &format!("{place}[{pair}].voltage"),
                "meter",
                "ac_voltage",
                Some("differential"),
            ));
            points.push(service(
                &format!("{place}[{pair}].dc_voltage"),
                "meter",
                "dc_voltage",
                Some("differential"),
            ));
        }
    }
    points
}

fn function(name: &str, form: FunctionForm) -> FunctionText {
    FunctionText {
        name: sp(name),
        form,
        span: span(),
    }
}

fn choose(name: &str, words: &[&str]) -> FunctionText {
    let choice = |word: &&str| {
        (
            sp(word),
            ChoiceText {
                send: vec![sp("SEND")],
                ask: sp("ASK?"),
                answer: sp(word),
            },
        )
    };
    function(name, FunctionForm::Choose(words.iter().map(choice).collect()))
}

fn amount(name: &str, unit: &str, low: &str, high: &str) -> FunctionText {
    let form = FunctionForm::Amount {
        unit: sp(unit),
        between: (f(low), f(high)),
        send: vec![sp("SEND {value}")],
        ask: sp("ASK?"),
        confirm_within: f(&format!("1 {unit}")),
    };
    function(name, form)
}

fn measure(name: &str, unit: &str) -> FunctionText {
    let accuracy = AccuracyText {
        of_reading: Some(f("0.1 %")),
        of_range: None,
        range: None,
        fixed: None,
        resolution: None,
        coverage: None,
    };
    let text = MeasureText {
        unit: sp(unit),
        ask: sp("ASK?"),
        deadline: None,
        aperture: Some(f("200 ms")),
        accuracy: Some(accuracy),
    };
    function(name, FunctionForm::Measure(text))
}

fn word(name: &str, words: &[&str]) -> FunctionText {
    let answers = words.iter().map(|word| (sp(word), sp(word))).collect();
    function(
        name,
        FunctionForm::Word {
            ask: sp("ASK?"),
            answers,
        },
    )
}

fn waveform(name: &str, unit: &str) -> FunctionText {
    let text = CaptureText {
        unit: sp(unit),
        arm: vec![sp("ARM")],
        finished: sp("DONE?"),
        scaling: sp("SCALE?"),
        fetch: sp("DATA?"),
        highest_rate: f("20 MHz"),
        most_points: 4_000_000,
        gain: f("0.5 %"),
        offset: f("20 mV"),
        time_base: f("5e-6"),
        delay: f("20 ns"),
    };
    function(name, FunctionForm::Capture(text))
}

fn driver(name: &str, functions: Vec<FunctionText>) -> (String, DriverFile) {
    let file = DriverFile {
        name: sp(name),
        title: sp(&format!("Driver of {name}")),
        model: sp("MODEL"),
        deadline: f("2 s"),
        errors: sp("SYSTem:ERRor?"),
        errors_with_reading: false,
        start: Vec::new(),
        functions,
        frames: None,
    };
    (name.to_owned(), file)
}

pub(crate) fn drivers() -> BTreeMap<String, DriverFile> {
    let states = ["state_A", "state_B", "state_C", "state_D", "open", "check"];
    BTreeMap::from([
        driver(
            "meter",
            vec![
                measure("ac_voltage", "V"),
                measure("dc_voltage", "V"),
                measure("resistance", "Ω"),
            ],
        ),
        driver(
            "scope",
            vec![
                waveform("waveform", "V"),
                waveform("current_wave", "A"),
                measure("high", "V"),
                measure("low", "V"),
            ],
        ),
        driver(
            "load",
            vec![
                choose("input", &["on", "off"]),
                amount("current", "A", "0 A", "60 A"),
                measure("measured_current", "A"),
            ],
        ),
        driver(
            "source",
            vec![
                choose("output", &["on", "off"]),
                amount("voltage", "V", "0 V", "300 V"),
                amount("frequency", "Hz", "40 Hz", "70 Hz"),
            ],
        ),
        driver(
            "relays",
            vec![
                choose("pilot_load", &states),
                amount("ladder", "Ω", "0 Ω", "100 kΩ"),
                choose("diode", &["normal", "shorted"]),
                amount("capacitance", "nF", "0 nF", "2.4 nF"),
                choose("burden", &["on", "off"]),
            ],
        ),
        driver(
            "guard",
            vec![
                word("enclosure", &["open", "closed"]),
                word("stop", &["ready", "pressed"]),
                word("contactor", &["open", "closed"]),
            ],
        ),
        driver("reference", vec![choose("output", &["off", "ac", "dc"])]),
        driver("thermometer", vec![measure("temperature", "°C")]),
    ])
}
