//! Readings against limits while the run goes on: computed values become readings of their own, then each limit judges.

use crate::halt::Halt;
use crate::runner::{Named, Runner};
use crate::values::missing;
use crate::wording;
use crate::world::{Bench, Clock, Journal, People};
use pilotage_core::expr::Value;
use pilotage_core::{Datum, Dimension, Expr, NoValue, Quantity, Tolerance};
use pilotage_evidence::event::Judgement;
use pilotage_evidence::heading::LimitPlate;
use pilotage_evidence::judge::{COVERAGE_FACTOR, judge_limit, standard_uncertainty};
use pilotage_evidence::{Event, Side, SourceStatus, Verdict};
use pilotage_plan::program::{JudgeSpec, LateBounds};

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// Judges each reading of the act. `needs` are the largest expanded uncertainties that let a limit be judged.
    pub(crate) fn judge_all(&mut self, specs: &[JudgeSpec]) -> Result<(), Halt> {
        specs.iter().try_for_each(|spec| self.judge_one(spec))
    }

    fn judge_one(&mut self, spec: &JudgeSpec) -> Result<(), Halt> {
        match self.applies(spec) {
            Ok(true) => {}
            Ok(false) => return Ok(()),
            Err(reason) => {
                let why = format!("{}: whether it is judged could not be worked out: {reason}", spec.name);
                self.note(Verdict::Inconclusive, why, None);
                return Ok(());
            }
        }
        let (seq, datum) = self.subject(spec)?;
        if let Some(why) = self.unmet_need(&spec.name, &datum, &spec.unit) {
            self.note(Verdict::Inconclusive, why, Some(Side::Bench));
            return Ok(());
        }
        for (place, limit) in spec.limits.iter().enumerate() {
            match self.with_late_bounds(limit, spec.late_bounds.get(&place)) {
                Ok(limit) => self.put_judgement(&spec.name, seq, &datum, &limit).map(drop)?,
                Err(reason) => {
                    let why = format!(
                        "{}: the limit `{}` could not be worked out: {reason}",
                        spec.name, limit.title
                    );
                    self.note(Verdict::Inconclusive, why, None);
                }
            }
        }
        Ok(())
    }

    fn applies(&self, spec: &JudgeSpec) -> Result<bool, NoValue> {
        let Some(when) = &spec.when else { return Ok(true) };
        match when.evaluate(&|name| self.values.datum(name))? {
            Value::Truth(truth) => Ok(truth),
            Value::Measured(_) => Err(missing(format!("`{}` is not a condition", when.text()))),
        }
    }

    /// The reading that is judged: computed now, or taken before.
    fn subject(&mut self, spec: &JudgeSpec) -> Result<(u64, Datum), Halt> {
        if let Some(formula) = &spec.value {
            let datum = self.measured(formula);
            return self.put_computed(spec, formula, datum);
        }
        if let Some(known) = self.values.reading(&spec.name) {
            return Ok((known.seq, known.datum.clone()));
        }
        // Never taken: the reading says so itself, so that the record shows what was judged.
        let datum = Err(missing(format!("`{}` was never taken in this run", spec.name)));
        let now = self.clock.now();
        let reading = self.computed(&named(spec), datum.clone(), (now, now));
        Ok((self.put_reading(reading)?, datum))
    }

    fn measured(&self, formula: &Expr) -> Datum {
        match formula.evaluate(&|name| self.values.datum(name))? {
            Value::Measured(measured) => Ok(measured),
            Value::Truth(_) => Err(missing(format!("`{}` is a condition, not a value", formula.text()))),
        }
    }

    fn put_computed(&mut self, spec: &JudgeSpec, formula: &Expr, datum: Datum) -> Result<(u64, Datum), Halt> {
        let now = self.clock.now();
        let mut reading = self.computed(&named(spec), datum.clone(), (now, now));
        reading.formula = Some(formula.text().to_owned());
        reading.from = self.values.from(formula);
        reading.constants = self.values.constants(formula);
        Ok((self.put_reading(reading)?, datum))
    }

    /// In words, where the uncertainty is larger than the sequence allows for a decision.
    fn unmet_need(&self, name: &str, datum: &Datum, unit: &str) -> Option<String> {
        let need = self.needs.get(name)?;
        let measured = datum.as_ref().ok()?;
        let wanted = wording::quantity(*need, unit);
        let Some(standard) = standard_uncertainty(&measured.uncertainty) else {
            return Some(format!(
                "{name}: not decidable here: its uncertainty is unknown, {wanted} is needed"
            ));
        };
        let expanded = Quantity::new(COVERAGE_FACTOR * standard, measured.value.dimension()).ok()?;
        (expanded.si() > need.si()).then(|| {
            let has = wording::quantity(expanded, unit);
            format!("{name}: not decidable here: its expanded uncertainty is {has}, {wanted} is needed")
        })
    }

    fn with_late_bounds(&self, limit: &LimitPlate, late: Option<&LateBounds>) -> Result<LimitPlate, NoValue> {
        let Some(late) = late else { return Ok(limit.clone()) };
        let bound = |formula: &Option<Expr>| formula.as_ref().map(|expr| self.measured(expr)).transpose();
        let tolerance = match (bound(&late.low)?, bound(&late.high)?) {
            (Some(low), Some(high)) => Tolerance::Between(low.value, high.value),
            (Some(low), None) => Tolerance::AtLeast(low.value),
            (None, Some(high)) => Tolerance::AtMost(high.value),
            (None, None) => limit.tolerance.clone(),
        };
        Ok(LimitPlate {
            tolerance,
            ..limit.clone()
        })
    }

    /// Journals a reading against one limit; the step takes its verdict.
    pub(crate) fn put_judgement(
        &mut self,
        name: &str,
        reading: u64,
        datum: &Datum,
        limit: &LimitPlate,
    ) -> Result<Verdict, Halt> {
        let ruling = judge_limit(datum.as_ref(), limit, self.program.heading.decision_rule);
        let verdict = ruling.verdict;
        let marks = ruling.marks.join(", ");
        self.log.put(Event::Judged(Box::new(Judgement {
            name: name.to_owned(),
            step: self.step_index(),
            pass: self.pass.clone(),
            reading,
            limit: limit.clone(),
            verdict,
            expanded: ruling.expanded,
            margin: ruling.margin,
            risk: ruling.risk,
            marks: ruling.marks,
        })))?;
        self.note(
            verdict,
            self.why(name, datum, limit, verdict, &marks),
            side_of(datum, verdict),
        );
        Ok(verdict)
    }

    fn why(&self, name: &str, datum: &Datum, limit: &LimitPlate, verdict: Verdict, marks: &str) -> String {
        if verdict == Verdict::Pass {
            return String::new();
        }
        let value = wording::datum(datum, &limit.unit);
        let pass = self.pass.as_ref().map(|pass| format!(" ({pass})")).unwrap_or_default();
        let marks = if marks.is_empty() {
            String::new()
        } else {
            format!("; {marks}")
        };
        format!(
            "{name}{pass} = {value}, {}: {}{marks}",
            limit.title,
            wording::tolerance(&limit.tolerance, &limit.unit)
        )
    }
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
    LimitPlate {
        key: "inline".to_owned(),
        title: title.to_owned(),
        place: place.to_owned(),
        standard: String::new(),
        edition: String::new(),
        clause: String::new(),
        status: SourceStatus::CommonPractice,
        by: None,
        tolerance: Tolerance::AtMost(Quantity::new(0.0, Dimension::NONE).expect("zero is finite")),
        unit: String::new(),
    }
}
