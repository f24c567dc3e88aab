//! Readings against limits while the run goes on: computed values become readings of their own, then each limit judges.

use crate::halt::Halt;
use crate::runner::{Named, Progress, Runner};
use crate::values::{Known, missing};
use crate::wording;
use crate::world::{Bench, Clock, Journal, People};
use pilotage_core::expr::Value;
use pilotage_core::{Datum, Dimension, Expr, NoValue, Quantity, Tolerance, uncertainty};
use pilotage_evidence::event::{Judgement, Reading};
use pilotage_evidence::heading::LimitPlate;
use pilotage_evidence::judge::{COVERAGE_FACTOR, judge_reading};
use pilotage_evidence::{Event, Ruling, Side, SourceStatus, Verdict};
use pilotage_plan::program::{JudgeSpec, LateBounds};

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// Judges each reading of the act. `needs` are the largest expanded uncertainties that let a limit be judged.
    pub(crate) fn judge_all(&mut self, specs: &[JudgeSpec]) -> Result<(), Halt> {
        specs.iter().try_for_each(|spec| self.judge_one(spec))
    }

    fn judge_one(&mut self, spec: &JudgeSpec) -> Result<(), Halt> {
        let doubt = match self.applies(spec) {
            Ok(true) => None,
            Ok(false) => return Ok(()),
            Err(reason) => Some(format!("whether it is judged could not be worked out: {reason}")),
        };
        let known = self.subject(spec)?;
        let doubt = doubt.or_else(|| self.unmet_need(&known)).or_else(|| self.undecidable());
        for (place, limit) in spec.limits.iter().enumerate() {
            let (limit, late) = match self.with_late_bounds(limit, spec.late_bounds.get(&place)) {
                Ok(limit) => (limit, None),
                Err(reason) => (
                    limit.clone(),
                    Some(format!("its bounds could not be worked out: {reason}")),
                ),
            };
            self.judge_with_doubt(&known, &limit, doubt.as_deref().or(late.as_deref()))?;
        }
        Ok(())
    }

    /// Where the bench cannot decide, neither a pass nor a fail stands.
    pub(crate) fn judge_with_doubt(
        &mut self,
        known: &Known,
        limit: &LimitPlate,
        doubt: Option<&str>,
    ) -> Result<(), Halt> {
        let ruling = judge_reading(&known.reading, limit, self.program.heading.decision_rule);
        let ruling = match doubt {
            Some(why) => ruling.not_decidable(why),
            None => ruling,
        };
        self.put_ruling(known, ruling, limit).map(drop)
    }

    fn applies(&self, spec: &JudgeSpec) -> Result<bool, NoValue> {
        let Some(when) = &spec.when else { return Ok(true) };
        match when.evaluate(&|name| self.values.datum(name))? {
            Value::Truth(truth) => Ok(truth),
            Value::Measured(_) => Err(missing(format!("`{}` is not a condition", when.text()))),
        }
    }

    /// The reading that is judged: computed now, or taken before.
    fn subject(&mut self, spec: &JudgeSpec) -> Result<Known, Halt> {
        if let Some(formula) = &spec.value {
            return self.put_computed(spec, formula);
        }
        if let Some(known) = self.values.reading(&spec.name) {
            return Ok(known.clone());
        }
        // Never taken: the reading says so itself, so that the record shows what was judged.
        let datum = Err(missing(format!("`{}` was never taken in this run", spec.name)));
        let now = self.clock.now();
        self.put_reading(self.computed(&named(spec), datum, (now, now)))
    }

    fn measured(&self, formula: &Expr) -> Datum {
        match formula.evaluate(&|name| self.values.datum(name))? {
            Value::Measured(measured) => Ok(measured),
            Value::Truth(_) => Err(missing(format!("`{}` is a condition, not a value", formula.text()))),
        }
    }

    fn put_computed(&mut self, spec: &JudgeSpec, formula: &Expr) -> Result<Known, Halt> {
        let now = self.clock.now();
        let mut reading = self.computed(&named(spec), self.measured(formula), (now, now));
        reading.formula = Some(formula.text().to_owned());
        reading.from = self.values.from(formula);
        reading.constants = self.values.constants(formula);
        self.put_reading(reading)
    }

    /// Why nothing of the rest of the step can be decided.
    fn undecidable(&self) -> Option<String> {
        self.step.as_ref().and_then(Progress::undecidable)
    }

    /// From here on nothing of the step can be decided.
    pub(crate) fn leave_undecided(&mut self, why: String) {
        if let Some(step) = &mut self.step {
            step.undone = Some(why);
        }
    }

    /// In words, where the uncertainty is larger than the sequence allows for a decision.
    fn unmet_need(&self, known: &Known) -> Option<String> {
        let Reading { name, unit, .. } = &known.reading;
        let need = self.needs.get(name)?;
        let measured = known.datum().ok()?;
        let wanted = wording::quantity(*need, unit);
        let Some(standard) = uncertainty::standard(&measured.uncertainty) else {
            return Some(format!(
                "the uncertainty of {name} is unknown, at most {wanted} is needed"
            ));
        };
        let expanded = Quantity::new(COVERAGE_FACTOR * standard, measured.value.dimension()).ok()?;
        (expanded.si() > need.si()).then(|| {
            let has = wording::quantity(expanded, unit);
            format!("the expanded uncertainty of {name} is {has}, at most {wanted} is needed")
        })
    }

    fn with_late_bounds(&self, limit: &LimitPlate, late: Option<&LateBounds>) -> Result<LimitPlate, NoValue> {
        let Some(late) = late else { return Ok(limit.clone()) };
        let bound = |formula: &Option<Expr>| formula.as_ref().map(|expr| self.measured(expr)).transpose();
        Ok(limit.worked_out(bound(&late.low)?, bound(&late.high)?))
    }

    /// Judges a reading against one limit; the step takes its verdict.
    pub(crate) fn judge_against(&mut self, known: &Known, limit: &LimitPlate) -> Result<Verdict, Halt> {
        let ruling = judge_reading(&known.reading, limit, self.program.heading.decision_rule);
        let ruling = self.unless_undone(ruling);
        self.put_ruling(known, ruling, limit)
    }

    /// Behind an instruction that was not carried out nothing is decided.
    pub(crate) fn unless_undone(&self, ruling: Ruling) -> Ruling {
        match self.step.as_ref().and_then(|step| step.undone.as_deref()) {
            Some(why) => ruling.not_decidable(why),
            None => ruling,
        }
    }

    /// Journals a ruling; the step takes its verdict.
    pub(crate) fn put_ruling(&mut self, known: &Known, ruling: Ruling, limit: &LimitPlate) -> Result<Verdict, Halt> {
        let ruling = if self.looks_at_the_bench(limit) {
            ruling.of_the_bench(&known.reading)
        } else {
            ruling
        };
        let judgement = ruling.of(&known.reading, known.seq, limit);
        let verdict = judgement.verdict;
        let why = why_not(known, &judgement);
        self.log.put(Event::Judged(Box::new(judgement)))?;
        self.note(verdict, why, side_of(&known.datum(), verdict));
        Ok(verdict)
    }

    /// A demand on the bench stands in any step; in a step that looks at the bench every limit is one.
    fn looks_at_the_bench(&self, limit: &LimitPlate) -> bool {
        let by_step = self.step.as_ref().and_then(|step| step.fail_side);
        limit.is_of_the_bench() || by_step == Some(Side::Bench)
    }
}

/// In words, where a judgement is not a pass.
fn why_not(known: &Known, judgement: &Judgement) -> String {
    let Judgement { limit, .. } = judgement;
    if judgement.verdict == Verdict::Pass {
        return String::new();
    }
    let value = wording::datum(&known.datum(), &limit.unit);
    let pass = judgement
        .pass
        .as_ref()
        .map(|pass| format!(" ({pass})"))
        .unwrap_or_default();
    let wanted = wording::tolerance(&limit.tolerance, &limit.unit);
    let mut words = format!("{}{pass} = {value}, {}: {wanted}", judgement.name, limit.title);
    for mark in judgement.marks.iter().filter(|mark| !value.contains(mark.as_str())) {
        words.push_str("; ");
        words.push_str(mark);
    }
    words
}

/// What the bench could not measure is the bench's.
fn side_of(datum: &Datum, verdict: Verdict) -> Option<Side> {
    let by_bench = matches!(datum, Err(NoValue::Bench(_) | NoValue::TimedOut | NoValue::NotANumber));
    (by_bench || verdict == Verdict::Error).then_some(Side::Bench)
}

fn named(spec: &JudgeSpec) -> Named<'_> {
    Named {
        name: &spec.name,
        point: "",
        unit: &spec.unit,
    }
}

/// The tool's own demand that a count is zero.
pub(crate) fn count_limit(title: &str, place: &str) -> LimitPlate {
    let none = Quantity::new(0.0, Dimension::NONE).expect("zero is finite");
    own_limit(title, place, Tolerance::AtMost(none), "")
}

/// A demand of the tool itself, which stands in no file.
pub(crate) fn own_limit(title: &str, place: &str, tolerance: Tolerance, unit: &str) -> LimitPlate {
    LimitPlate {
        key: "inline".to_owned(),
        title: title.to_owned(),
        place: place.to_owned(),
        standard: String::new(),
        edition: String::new(),
        clause: String::new(),
        status: SourceStatus::CommonPractice,
        by: None,
        tolerance,
        bounds: Vec::new(),
        unit: unit.to_owned(),
    }
}
