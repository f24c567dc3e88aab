//! Builds files by hand, so that these tests need no YAML.

pub(crate) use crate::bench_files::service;
use crate::bench_files::{bench, drivers};
use pilotage_core::Expr;
use pilotage_evidence::heading::{Basis, CautionText};
use pilotage_evidence::{DecisionRule, ItemKind, SignalWord, SourceStatus};
use pilotage_plan::files::bench::{BenchFile, ServiceText};
use pilotage_plan::files::driver::DriverFile;
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
    act(ActForm::Hold(f(length), None))
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
        closes: None,
        only_if: None,
        needs: Vec::new(),
        for_each: Vec::new(),
        repeat: None,
        acts,
        pictures: Vec::new(),
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
        more_limits: Vec::new(),
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
        virtual_words: Vec::new(),
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

/// Voltage set, supply on.
pub(crate) fn switched_on() -> Vec<ActText> {
    vec![set_to("supply.voltage", "$supply_voltage"), set("supply", "on")]
}
