//! Every computed value, judgement, dead statement and verdict worked out again from a record alone, without hardware.
//!
//! What depends on captured samples (analyses of pulses and levels) is taken as the journal gives it; everything that
//! follows from it is worked out again.

use crate::event::{DeadStatement, Event, Judgement, Reading, StopCause};
use crate::heading::LimitPlate;
use crate::judge::{self, Ruling};
use crate::record::Record;
use crate::rollup;
use crate::void;
use crate::words::{DecisionRule, Verdict};
use pilotage_core::expr::Value;
use pilotage_core::{Datum, Expr, Measured, NoValue, format};
use serde::Serialize;

/// Something that comes out differently when worked out again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Difference {
    /// Sequence number of the event.
    pub seq: u64,
    /// What was worked out again.
    pub what: String,
    /// As the journal has it.
    pub was: String,
    /// As it comes out now.
    pub is: String,
}

/// Works everything out again and reports what differs; nothing where all is as the journal has it.
pub fn rejudge(record: &Record) -> Vec<Difference> {
    let mut again = Again {
        record,
        differences: Vec::new(),
        step: Step::default(),
        steps: Vec::new(),
        stop: None,
    };
    for stamped in record.events() {
        again.event(stamped.seq, &stamped.event);
    }
    again.differences
}

/// The judgements of the step that runs now: as the journal has them, and as they come out.
#[derive(Default)]
struct Step {
    was: Vec<Verdict>,
    is: Vec<Verdict>,
}

struct Again<'r> {
    record: &'r Record,
    differences: Vec<Difference>,
    step: Step,
    steps: Vec<Verdict>,
    stop: Option<StopCause>,
}

impl Again<'_> {
    fn event(&mut self, seq: u64, event: &Event) {
        match event {
            Event::StepStarted { .. } => self.step = Step::default(),
            Event::Reading(reading) => self.reading(seq, reading),
            Event::Judged(judgement) => self.judgement(seq, judgement),
            Event::Dead(statement) => self.dead(seq, statement),
            Event::Stopped { by, .. } => {
                self.stop.get_or_insert(*by);
            }
            Event::StepEnded {
                step, verdict, because, ..
            } => self.step_ended(seq, *step, *verdict, because.is_some()),
            Event::RunEnded {
                verdict,
                exit_code,
                codes,
            } => self.run_ended(seq, *verdict, *exit_code, codes),
            _ => {}
        }
    }

    fn differs(&mut self, seq: u64, what: impl Into<String>, was: impl Into<String>, is: impl Into<String>) {
        let (was, is) = (was.into(), is.into());
        if was != is {
            self.differences.push(Difference {
                seq,
                what: what.into(),
                was,
                is,
            });
        }
    }

    fn reading(&mut self, seq: u64, reading: &Reading) {
        let Some(formula) = &reading.formula else { return };
        let was = datum_text(&datum(reading));
        let what = format!("{} = {formula}", reading.name);
        match Expr::parse(formula) {
            Ok(expr) => {
                let is = self.evaluate(seq, &expr, reading);
                self.differs(seq, what, was, is);
            }
            // Names of analyses are no expressions; a formula with names is one.
            Err(error) if formula.contains('$') => self.differs(seq, what, was, format!("cannot be read: {error}")),
            Err(_) => {}
        }
    }

    fn evaluate(&self, seq: u64, expr: &Expr, reading: &Reading) -> String {
        let values = |name: &str| {
            let constant = reading.constants.get(name).map(|value| Ok(Measured::exact(*value)));
            constant.or_else(|| self.input(seq, *reading.from.get(name)?))
        };
        match expr.evaluate(&values) {
            Ok(Value::Measured(measured)) => datum_text(&Ok(measured)),
            Ok(Value::Truth(truth)) => truth_text(truth, reading),
            // Why a value is missing is told in words that may differ; that it is missing may not.
            Err(NoValue::Missing(_)) if matches!(reading.no_value, Some(NoValue::Missing(_))) => {
                datum_text(&datum(reading))
            }
            Err(reason) => datum_text(&Err(reason)),
        }
    }

    /// An earlier reading; a later one cannot have gone in.
    fn input(&self, seq: u64, from: u64) -> Option<Datum> {
        match self.record.event(from) {
            Some(Event::Reading(reading)) if from < seq => Some(datum(reading)),
            _ => None,
        }
    }

    fn judgement(&mut self, seq: u64, judgement: &Judgement) {
        let what = format!("{} against {}", judgement.name, judgement.limit.title);
        let Some(Event::Reading(reading)) = self.record.event(judgement.reading) else {
            let is = format!("event {} is no reading", judgement.reading);
            self.step.was.push(judgement.verdict);
            self.step.is.push(Verdict::Error);
            return self.differs(seq, what, judgement.verdict.to_string(), is);
        };
        let ruling = judge::judge_reading(reading, &judgement.limit, self.rule());
        let ruling = as_claimed(ruling, judgement, reading);
        self.step.was.push(judgement.verdict);
        self.step.is.push(ruling.verdict);
        self.differs(seq, what, recorded_text(judgement), ruling_text(&ruling, judgement));
    }

    fn rule(&self) -> DecisionRule {
        self.record.heading().decision_rule
    }

    fn dead(&mut self, seq: u64, statement: &DeadStatement) {
        let what = format!("{} dead", statement.at);
        match self.dead_again(statement) {
            // The bench withholds dead where it could not switch its burden or its reference: that is no difference.
            Ok(true) if !statement.dead => {}
            Ok(is) => self.dead_differs(seq, what, statement.dead, is, &is.to_string()),
            Err(why) => self.dead_differs(seq, what, statement.dead, false, &why),
        }
        for pair in &statement.pairs {
            let is = self.pair_again(pair.ac, pair.dc, statement);
            self.differs(
                seq,
                format!("{} {} dead", statement.at, pair.pair),
                pair.dead.to_string(),
                is.to_string(),
            );
        }
    }

    /// What is not dead any more fails the step that rested on it.
    fn dead_differs(&mut self, seq: u64, what: String, was: bool, is: bool, words: &str) {
        if was && !is {
            self.step.is.push(Verdict::Fail);
        }
        self.differs(seq, what, was.to_string(), words);
    }

    fn dead_again(&self, statement: &DeadStatement) -> Result<bool, String> {
        if statement.limits.len() != 4 {
            return Err("cannot be worked out: the statement does not give its four limits".to_owned());
        }
        let proofs = [
            &statement.limits[2],
            &statement.limits[3],
            &statement.limits[2],
            &statement.limits[3],
        ];
        let proven = statement.proofs.len() == proofs.len()
            && statement
                .proofs
                .iter()
                .zip(proofs)
                .all(|(seq, limit)| self.passes(*seq, limit));
        let pairs = !statement.pairs.is_empty()
            && statement
                .pairs
                .iter()
                .all(|pair| self.pair_again(pair.ac, pair.dc, statement));
        let dead = statement.limits[..2].iter().cycle();
        let resting = statement
            .resting
            .iter()
            .zip(dead)
            .all(|(seq, limit)| self.passes(*seq, limit));
        Ok(proven && resting && pairs)
    }

    fn pair_again(&self, ac: u64, dc: u64, statement: &DeadStatement) -> bool {
        match statement.limits.as_slice() {
            [ac_limit, dc_limit, ..] => self.passes(ac, ac_limit) && self.passes(dc, dc_limit),
            _ => false,
        }
    }

    fn passes(&self, seq: u64, limit: &LimitPlate) -> bool {
        match self.record.event(seq) {
            Some(Event::Reading(reading)) => judge::judge_reading(reading, limit, self.rule()).verdict == Verdict::Pass,
            _ => false,
        }
    }

    /// A step may be worse than its judgements where it says why (a trouble, a stop, an item that waits): what made it
    /// worse then still stands. It may never be better.
    fn step_ended(&mut self, seq: u64, step: u32, was: Verdict, says_why: bool) {
        let Step { was: judged, is } = std::mem::take(&mut self.step);
        let worse = says_why && was.badness() > rollup::step_verdict(&judged).badness();
        let is = match rollup::step_verdict(&is) {
            is if worse && was.badness() > is.badness() => was,
            is => is,
        };
        let id = self
            .record
            .heading()
            .steps
            .get(step as usize)
            .map_or("?", |head| head.id.as_str());
        self.differs(seq, format!("step {id}"), was.to_string(), is.to_string());
        self.steps.push(is);
    }

    fn run_ended(&mut self, seq: u64, verdict: Verdict, exit_code: u8, codes: &[u8]) {
        let counted = void::counted(&self.record.heading().closings, &self.steps);
        let is = rollup::run_verdict(&counted, self.stop);
        self.differs(seq, "run", verdict.to_string(), is.to_string());
        let is = rollup::exit_code(codes).to_string();
        self.differs(seq, "exit code of all codes that applied", exit_code.to_string(), is);
        let missing: Vec<u8> = rollup::codes(&counted, self.stop, true)
            .into_iter()
            .filter(|code| *code != 0 && !codes.contains(code))
            .collect();
        if !missing.is_empty() {
            self.differs(
                seq,
                "codes that applied",
                format!("{codes:?}"),
                format!("also {missing:?}"),
            );
        }
    }
}

/// What the sequence or the bench claims beside the reading can only take a verdict away, never give one.
fn as_claimed(ruling: Ruling, judgement: &Judgement, reading: &Reading) -> Ruling {
    let has = |mark: &str| judgement.marks.iter().any(|own| own == mark);
    let ruling = if has(judge::CLAIMED_INCONCLUSIVE) {
        ruling.claimed_inconclusive()
    } else {
        ruling
    };
    let ruling = if has(judge::OF_THE_BENCH) {
        ruling.of_the_bench(reading)
    } else {
        ruling
    };
    let undecided = judgement
        .marks
        .iter()
        .find_map(|mark| mark.strip_prefix(judge::NOT_DECIDABLE)?.strip_prefix(": "));
    match undecided {
        Some(why) => ruling.not_decidable(why),
        None => ruling,
    }
}

fn datum(reading: &Reading) -> Datum {
    match (&reading.value, &reading.no_value) {
        (_, Some(reason)) => Err(reason.clone()),
        (Some(measured), None) => Ok(measured.clone()),
        (None, None) => Err(NoValue::Missing("the point answers in words".to_owned())),
    }
}

/// Every digit: two texts are equal only where the values are.
fn datum_text(datum: &Datum) -> String {
    match datum {
        Err(reason) => format!("no value: {reason}"),
        Ok(measured) => {
            let unit = format::base_units(measured.value.dimension());
            let uncertainty = match pilotage_core::uncertainty::standard(&measured.uncertainty) {
                Some(standard) => format!("u = {standard}"),
                None => "u unknown".to_owned(),
            };
            format!("{} {unit} ({uncertainty})", measured.value.si())
        }
    }
}

fn truth_text(truth: bool, reading: &Reading) -> String {
    let number = if truth { 1.0 } else { 0.0 };
    match &reading.value {
        #[expect(clippy::float_cmp, reason = "a truth is 0 or 1")]
        Some(measured) if measured.value.si() == number => datum_text(&datum(reading)),
        _ => truth.to_string(),
    }
}

fn recorded_text(judgement: &Judgement) -> String {
    figures(
        judgement.verdict,
        judgement.expanded,
        judgement.margin,
        judgement.risk,
        &judgement.marks,
    )
}

/// Marks that were added beside the judge's own (a calibration that ran out) stay; its own must be there.
fn ruling_text(ruling: &Ruling, judgement: &Judgement) -> String {
    let own_there = ruling.marks.iter().all(|mark| judgement.marks.contains(mark));
    let marks = if own_there { &judgement.marks } else { &ruling.marks };
    figures(ruling.verdict, ruling.expanded, ruling.margin, ruling.risk, marks)
}

fn figures(
    verdict: Verdict,
    expanded: Option<f64>,
    margin: Option<f64>,
    risk: Option<f64>,
    marks: &[String],
) -> String {
    let figure = |value: Option<f64>| value.map_or_else(|| "unknown".to_owned(), |value| value.to_string());
    let mut text = format!(
        "{verdict}, U {}, margin {}, risk {}",
        figure(expanded),
        figure(margin),
        figure(risk)
    );
    for mark in marks {
        text.push_str(", ");
        text.push_str(mark);
    }
    text
}
