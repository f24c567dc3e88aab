//! Builds files by hand, so that these tests need no YAML.

use pilotage_core::Expr;
use pilotage_evidence::heading::{Basis, CautionText};
use pilotage_evidence::{DecisionRule, ItemKind, SignalWord, SourceStatus};
use pilotage_plan::files::bench::{BenchFile, InstrumentText, LinkText, ServiceText};
use pilotage_plan::files::driver::{
    AccuracyText, CaptureText, ChoiceText, DriverFile, FunctionForm, FunctionText, MeasureText,
};
use pilotage_plan::files::item::{ItemFile, NameplateValue};
use pilotage_plan::files::limits::{LimitText, LimitsFile, ToleranceText};
use pilotage_plan::files::sequence::*;
use pilotage_plan::fit::{FitRequest, fit};
use pilotage_plan::problem::Problem;
use pilotage_plan::program::Program;
use pilotage_plan::source::{Formula, Sp, Span};
use std::cell::Cell;
use std::collections::BTreeMap;

thread_local!(static LINE: Cell<u32> = const { Cell::new(0) });

pub(crate) fn span() -> Span {
    let line = LINE.with(|cell| {
        cell.set(cell.get() + 1);
        cell.get()
    });
    Span {
        file: "test.yaml".into(),
        line,
        column: 1,
        offset: line as usize * 100,
        length: 1,
    }
}

pub(crate) fn sp(text: &str) -> Sp<String> {
    Sp {
        value: text.to_owned(),
        span: span(),
    }
}

pub(crate) fn f(text: &str) -> Formula {
    Formula {
        expr: Expr::parse(text).unwrap(),
        span: span(),
    }
}

pub(crate) fn act(form: ActForm) -> ActText {
    ActText { span: span(), form }
}

pub(crate) fn set(point: &str, word: &str) -> ActText {
    act(ActForm::Set(vec![(sp(point), SetText::Word(sp(word)))]))
}

pub(crate) fn set_to(point: &str, formula: &str) -> ActText {
    act(ActForm::Set(vec![(sp(point), SetText::Amount(f(formula)))]))
}

pub(crate) fn read(entries: &[(&str, &str)]) -> ActText {
    act(ActForm::Read(
        entries.iter().map(|(name, point)| (sp(name), sp(point))).collect(),
    ))
}

pub(crate) fn hold(length: &str) -> ActText {
    act(ActForm::Hold(f(length)))
}

pub(crate) fn isolate() -> ActText {
    act(ActForm::Isolate)
}

pub(crate) fn prove_dead(at: &str) -> ActText {
    act(ActForm::ProveDead {
        at: sp(at),
        deadline: f("1 s"),
    })
}

pub(crate) fn ask_hands() -> ActText {
    act(ActForm::Ask {
        prompt: sp("Is the plate readable?"),
        answer: AnswerText::YesNo,
        name: Some(sp("plate_ok")),
        hands: true,
        does: None,
        uncertainty: None,
        source: Some(source()),
    })
}

pub(crate) fn capture(of: &[&str], length: &str, rate: &str, during: Vec<ActText>) -> ActText {
    act(ActForm::Capture {
        of: of.iter().map(|point| sp(point)).collect(),
        length: f(length),
        rate: Some(f(rate)),
        during,
    })
}

pub(crate) fn find(name: &str, text: FindText) -> ActText {
    act(ActForm::Find(vec![(sp(name), text)]))
}

pub(crate) fn event(channel: &str, part: SignalPart, rises: bool, level: &str) -> EventText {
    EventText {
        channel: sp(channel),
        part,
        rises,
        level: f(level),
        last: false,
    }
}

pub(crate) fn source() -> InlineSource {
    InlineSource {
        status: SourceStatus::CommonPractice,
        standard: None,
        edition: None,
        clause: None,
        by: None,
    }
}

pub(crate) fn judge_keys(name: &str, keys: &[&str]) -> ActText {
    let text = JudgeText {
        value: None,
        unit: None,
        limits: keys.iter().map(|k| sp(k)).collect(),
        inline: None,
        when: None,
    };
    act(ActForm::Judge(vec![(sp(name), text)]))
}

pub(crate) fn judge_value(name: &str, value: &str, unit: &str, tolerance: ToleranceText) -> ActText {
    let text = JudgeText {
        value: Some(f(value)),
        unit: Some(sp(unit)),
        limits: Vec::new(),
        inline: Some((tolerance, source(), None)),
        when: None,
    };
    act(ActForm::Judge(vec![(sp(name), text)]))
}

pub(crate) fn step(id: &str, acts: Vec<ActText>) -> StepText {
    StepText {
        title: sp(&format!("step {id}")),
        id: sp(id),
        only_if: None,
        needs: Vec::new(),
        for_each: None,
        repeat: None,
        acts,
        fail_means: None,
        look_next: Vec::new(),
        fail_side: None,
    }
}

/// Everything that is fitted together; tests change one thing of it.
pub(crate) struct Files {
    pub(crate) sequence: SequenceFile,
    pub(crate) item: ItemFile,
    pub(crate) bench: BenchFile,
    pub(crate) drivers: BTreeMap<String, DriverFile>,
    pub(crate) limits: LimitsFile,
}

impl Files {
    pub(crate) fn new(steps: Vec<StepText>) -> Self {
        Self {
            sequence: sequence(steps),
            item: item(),
            bench: bench(),
            drivers: drivers(),
            limits: limits(),
        }
    }

    pub(crate) fn fit(&self) -> Result<Program, Vec<Problem>> {
        fit(FitRequest {
            sequence: &self.sequence,
            item: &self.item,
            bench: &self.bench,
            drivers: &self.drivers,
            limits: &self.limits,
            decision_rule: DecisionRule::Simple,
            inputs: &[],
        })
    }

    pub(crate) fn codes(&self) -> Vec<&'static str> {
        self.fit()
            .map_or_else(|problems| problems.iter().map(|p| p.code).collect(), |_| Vec::new())
    }

    pub(crate) fn without_point(mut self, point: &str) -> Self {
        self.bench.points.retain(|service| service.point.value != point);
        self
    }

    pub(crate) fn service(&mut self, point: &str) -> &mut ServiceText {
        self.bench
            .points
            .iter_mut()
            .find(|service| service.point.value == point)
            .unwrap()
    }
}

fn sequence(steps: Vec<StepText>) -> SequenceFile {
    SequenceFile {
        title: sp("Test sequence"),
        item: Sp {
            value: ItemKind::WallUnit,
            span: span(),
        },
        basis: vec![Basis {
            standard: "IEC 61851-1".into(),
            edition: "2017".into(),
            part: Some("Annex A".into()),
        }],
        limits: sp("test_limits"),
        default_item: None,
        default_bench: None,
        accepts: vec![(sp("rated_current"), ToleranceText::Between(f("6 A"), f("80 A")))],
        cautions: vec![Sp {
            value: CautionText {
                signal: SignalWord::Danger,
                text: "The connector carries mains.".into(),
            },
            span: span(),
        }],
        interlocks: vec![
            InterlockText::Word {
                point: sp("enclosure"),
                must_be: sp("closed"),
                every: f("50 ms"),
            },
            InterlockText::StopProof {
                proven_within: f("12 h"),
                span: span(),
            },
        ],
        protect: vec![ProtectText {
            point: sp("terminal.temperature"),
            tolerance: ToleranceText::AtMost(f("90 °C")),
            every: f("1 s"),
        }],
        steps,
        not_tested: Vec::new(),
    }
}

fn item() -> ItemFile {
    let amount = |name: &str, text: &str| (sp(name), NameplateValue::Amount(f(text)));
    let word = |name: &str, text: &str| (sp(name), NameplateValue::Word(sp(text)));
    ItemFile {
        title: sp("Wall unit, 32 A"),
        kind: Sp {
            value: ItemKind::WallUnit,
            span: span(),
        },
        serial: sp("WU-1"),
        nameplate: vec![
            amount("rated_current", "32 A"),
            amount("supply_voltage", "230 V"),
            amount("supply_frequency", "50 Hz"),
            word("phases", "single"),
            word("cable", "tethered"),
            word("ventilation", "none"),
            amount("cable_length", "5 m"),
        ],
        virtual_parameters: Vec::new(),
    }
}

fn limits() -> LimitsFile {
    let limit = |key: &str, unit: &str, tolerance: ToleranceText| LimitText {
        key: sp(key),
        title: key.replace('.', " "),
        unit: sp(unit),
        tolerance,
        standard: None,
        edition: None,
        clause: Some("Annex A".into()),
        status: SourceStatus::Restated,
        by: Some("two charge-controller manuals".into()),
        derivation: None,
        note: None,
        span: span(),
    };
    LimitsFile {
        name: sp("test_limits"),
        title: sp("Limits for tests"),
        standard: sp("IEC 61851-1"),
        edition: sp("2017"),
        limits: vec![
            limit("pilot.high_A", "V", ToleranceText::Between(f("11.4 V"), f("12.6 V"))),
            limit("contactor.close_delay", "s", ToleranceText::AtMost(f("3 s"))),
            limit(
                "pilot.duty_of_setting",
                "%",
                ToleranceText::Within {
                    of: f("duty_for($rated_current)"),
                    by: f("0.5 %"),
                },
            ),
            limit(
                "output.voltage",
                "V",
                ToleranceText::Within {
                    of: f("$supply_voltage"),
                    by: f("10 %"),
                },
            ),
            limit(
                "output.follows_input",
                "V",
                ToleranceText::Within {
                    of: f("$u_in"),
                    by: f("1 %"),
                },
            ),
        ],
    }
}

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

fn bench() -> BenchFile {
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
        points: bench_points(),
        stop_name: sp("the red button S1"),
        isolator_name: sp("Q1"),
        supply_protected_by: Some(sp("30 mA type B residual device F1")),
        ambient: None,
        dead_burden: f("100 kΩ"),
    }
}

fn bench_points() -> Vec<ServiceText> {
    let mut points = vec![
        service("supply", "source", "output", None),
        service("supply.voltage", "source", "voltage", None),
        service("supply.frequency", "source", "frequency", None),
        service("pilot", "scope", "waveform", None),
        service("ac_output[L-N]", "scope", "waveform", Some("differential")),
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

fn waveform() -> FunctionText {
    let text = CaptureText {
        unit: sp("V"),
        arm: vec![sp("ARM")],
        finished: sp("DONE?"),
        scaling: sp("SCALE?"),
        fetch: sp("DATA?"),
        highest_rate: f("20 MHz"),
        most_points: 4_000_000,
        gain: f("0.5 %"),
        offset: f("20 mV"),
        time_base: f("5e-6"),
    };
    function("waveform", FunctionForm::Capture(text))
}

fn driver(name: &str, functions: Vec<FunctionText>) -> (String, DriverFile) {
    let file = DriverFile {
        name: sp(name),
        title: sp(&format!("Driver of {name}")),
        model: sp("MODEL"),
        deadline: f("2 s"),
        errors: sp("SYSTem:ERRor?"),
        start: Vec::new(),
        functions,
    };
    (name.to_owned(), file)
}

fn drivers() -> BTreeMap<String, DriverFile> {
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
        driver("scope", vec![waveform(), measure("high", "V"), measure("low", "V")]),
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

/// Voltage set, supply on.
pub(crate) fn switched_on() -> Vec<ActText> {
    vec![set_to("supply.voltage", "$supply_voltage"), set("supply", "on")]
}
