//! `judge`: readings and computed values against limits of the set or limits written in the sequence.

use super::fitter::Fitter;
use super::names::dimension_name;
use super::tolerance::{self, Bounds};
use super::waits::plate;
use super::{code, near};
use crate::files::limits::LimitText;
use crate::files::sequence::JudgeText;
use crate::problem::Problem;
use crate::program::{Act, ActKind, JudgeSpec, LateBounds};
use crate::source::{Sp, Span};
use pilotage_core::{Dimension, Tolerance, Unit};
use pilotage_evidence::heading::LimitPlate;
use std::collections::BTreeMap;

/// Stands where the bounds depend on readings: nothing is equal to one of no values, so it can never pass by itself.
const fn nothing_passes() -> Tolerance {
    Tolerance::AnyOf(Vec::new())
}

impl Fitter<'_> {
    /// `judge: {name: …}`
    pub(crate) fn judge(&mut self, entries: &[(Sp<String>, JudgeText)], span: &Span) -> Option<Act> {
        let mut specs = Vec::new();
        for (name, text) in entries {
            specs.extend(self.judge_one(name, text));
        }
        (!specs.is_empty()).then(|| self.plain(ActKind::Judge(specs), span))
    }

    fn judge_one(&mut self, name: &Sp<String>, text: &JudgeText) -> Option<JudgeSpec> {
        let (dimension, unit) = self.judged(name, text)?;
        self.step.judged.insert(name.value.clone());
        let mut limits = Vec::new();
        let mut late_bounds = BTreeMap::new();
        for key in &text.limits {
            if let Some((plate, late)) = self.limit_of_set(key, dimension) {
                late_bounds.extend(late.map(|late| (limits.len(), late)));
                limits.push(plate);
            }
        }
        if let Some((plate, late)) = self.inline_limit(name, text, dimension, &unit) {
            late_bounds.extend(late.map(|late| (limits.len(), late)));
            limits.push(plate);
        }
        if let Some(when) = &text.when {
            self.is_condition(when);
        }
        Some(JudgeSpec {
            name: name.value.clone(),
            value: text.value.as_ref().map(|formula| formula.expr.clone()),
            unit,
            limits,
            late_bounds,
            when: text.when.as_ref().map(|formula| formula.expr.clone()),
        })
    }

    /// Dimension and unit of what is judged; a computed value becomes a reading.
    fn judged(&mut self, name: &Sp<String>, text: &JudgeText) -> Option<(Dimension, String)> {
        let Some(formula) = &text.value else {
            return self.judged_reading(name, text);
        };
        let dimension = self.dimension_of(formula)?;
        let unit = match &text.unit {
            Some(unit) if self.unit_fits(unit, dimension) => unit.value.clone(),
            Some(_) => return None,
            None => self.unit_of_limits(text, dimension),
        };
        self.define(&name.value, Some(dimension), &unit, &name.span);
        Some((dimension, unit))
    }

    fn judged_reading(&mut self, name: &Sp<String>, text: &JudgeText) -> Option<(Dimension, String)> {
        let Some(reading) = self.readings.get(&name.value).cloned() else {
            self.unknown_name(&name.value, &name.span);
            return None;
        };
        if !self.usable_reading(&name.value, &reading, &name.span) {
            return None;
        }
        let dimension = reading.dimension?;
        match &text.unit {
            Some(unit) if self.unit_fits(unit, dimension) => Some((dimension, unit.value.clone())),
            Some(_) => None,
            None => Some((dimension, reading.unit)),
        }
    }

    /// The unit of the first limit that fits, else the coherent one.
    fn unit_of_limits(&self, text: &JudgeText, dimension: Dimension) -> String {
        let of_limit = text
            .limits
            .iter()
            .filter_map(|key| self.limit_text(&key.value))
            .find_map(|limit| {
                (tolerance::find_unit(&limit.unit.value) == Some(dimension)).then(|| limit.unit.value.clone())
            });
        of_limit.unwrap_or_else(|| match Unit::coherent(dimension) {
            Some(unit) if !dimension.is_none() => unit.symbol.to_owned(),
            _ => String::new(),
        })
    }

    fn limit_text(&self, key: &str) -> Option<&LimitText> {
        self.request.limits.limits.iter().find(|limit| limit.key.value == key)
    }

    pub(crate) fn limit_of_set(
        &mut self,
        key: &Sp<String>,
        dimension: Dimension,
    ) -> Option<(LimitPlate, Option<LateBounds>)> {
        let Some(limit) = self.limit_text(&key.value).cloned() else {
            self.unknown_limit(key);
            return None;
        };
        let measures = tolerance::find_unit(&limit.unit.value);
        if measures != Some(dimension) {
            self.other_dimension(key, &limit, dimension);
            return None;
        }
        let what = format!("the limit `{}`", key.value);
        let (tolerance, late) = split(self.bounds(&limit.tolerance, dimension, &what)?);
        Some((self.plate_of(&limit, tolerance), late))
    }

    fn unknown_limit(&mut self, key: &Sp<String>) {
        let known: Vec<&str> = self
            .request
            .limits
            .limits
            .iter()
            .map(|limit| limit.key.value.as_str())
            .collect();
        let set = &self.request.limits.name.value;
        self.problems.add(
            Problem::new(
                code::UNKNOWN_LIMIT,
                &key.span,
                format!("the limit set `{set}` has no `{}`", key.value),
            )
            .expected("a key of the chosen limit set")
            .got(format!("`{}`", key.value))
            .mend(near::mend(&key.value, &known)),
        );
    }

    fn other_dimension(&mut self, key: &Sp<String>, limit: &LimitText, dimension: Dimension) {
        self.problems.add(
            Problem::new(
                code::DIMENSION,
                &key.span,
                format!("`{}` does not limit this reading", key.value),
            )
            .expected(format!("a limit for {}", dimension_name(dimension)))
            .got(format!("a limit in {}", limit.unit.value))
            .mend("judge another reading, or take a limit of the reading's dimension"),
        );
    }

    fn plate_of(&self, limit: &LimitText, tolerance: Tolerance) -> LimitPlate {
        let set = self.request.limits;
        LimitPlate {
            key: limit.key.value.clone(),
            title: limit.title.clone(),
            place: limit.span.place(),
            standard: limit.standard.clone().unwrap_or_else(|| set.standard.value.clone()),
            edition: limit.edition.clone().unwrap_or_else(|| set.edition.value.clone()),
            clause: limit.clause.clone().unwrap_or_default(),
            status: limit.status,
            by: limit.by.clone().or_else(|| limit.derivation.clone()),
            tolerance,
            bounds: Vec::new(),
            unit: limit.unit.value.clone(),
        }
    }

    fn inline_limit(
        &mut self,
        name: &Sp<String>,
        text: &JudgeText,
        dimension: Dimension,
        unit: &str,
    ) -> Option<(LimitPlate, Option<LateBounds>)> {
        let (tolerance, source, title) = text.inline.as_ref()?;
        let what = format!("the limit of `{}`", name.value);
        let (tolerance, late) = split(self.bounds(tolerance, dimension, &what)?);
        let title = title.clone().unwrap_or_else(|| name.value.replace('_', " "));
        Some((plate(title, tolerance, unit, source, &name.span), late))
    }
}

fn split(bounds: Bounds) -> (Tolerance, Option<LateBounds>) {
    match bounds {
        Bounds::Now(tolerance) => (tolerance, None),
        Bounds::Late(late) => (nothing_passes(), Some(late)),
    }
}
