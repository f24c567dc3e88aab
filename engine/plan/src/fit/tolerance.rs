//! Comparison words worked out: bounds as numbers where the names are known, as formulas where they depend on readings.
//!
//! `within: {of, by}` becomes *between*. `by` is a share of `of` only where `by` is a pure number and `of` is not; where
//! both are pure numbers (a duty of 53 % within 0.5 %), `by` is a difference.

use super::code;
use super::fitter::Fitter;
use super::names::dimension_name;
use crate::files::limits::ToleranceText;
use crate::problem::Problem;
use crate::program::LateBounds;
use crate::source::Formula;
use pilotage_core::{Dimension, Expr, Quantity, Tolerance};

/// The formulas of a tolerance.
pub(crate) fn formulas(text: &ToleranceText) -> Vec<&Formula> {
    match text {
        ToleranceText::AtLeast(bound) | ToleranceText::AtMost(bound) => vec![bound],
        ToleranceText::Between(low, high) => vec![low, high],
        ToleranceText::Within { of, by } => vec![of, by],
        ToleranceText::AnyOf(choices) => choices.iter().collect(),
    }
}

/// A tolerance for a limit: numbers, or formulas to be worked out at the moment of judging.
pub(crate) enum Bounds {
    /// Known now.
    Now(Tolerance),
    /// Known when the readings are.
    Late(LateBounds),
}

impl Fitter<'_> {
    /// Bounds of a limit, readings allowed.
    pub(crate) fn bounds(&mut self, text: &ToleranceText, dimension: Dimension, what: &str) -> Option<Bounds> {
        if !formulas(text).into_iter().any(|formula| self.is_late(formula)) {
            return self.tolerance(text, dimension, what).map(Bounds::Now);
        }
        self.check_dimensions(text, dimension, what)?;
        self.late_bounds(text, dimension).map(Bounds::Late)
    }

    /// Bounds that must be known before the run.
    pub(crate) fn tolerance(&mut self, text: &ToleranceText, dimension: Dimension, what: &str) -> Option<Tolerance> {
        self.check_dimensions(text, dimension, what)?;
        let values: Vec<Option<Quantity>> = formulas(text)
            .into_iter()
            .map(|formula| self.value(formula, what))
            .collect();
        let values: Vec<Quantity> = values.into_iter().collect::<Option<_>>()?;
        match text {
            ToleranceText::AtLeast(_) => Some(Tolerance::AtLeast(values[0])),
            ToleranceText::AtMost(_) => Some(Tolerance::AtMost(values[0])),
            ToleranceText::AnyOf(_) => Some(Tolerance::AnyOf(values)),
            ToleranceText::Between(low, _) => self.between(values[0], values[1], low, what),
            ToleranceText::Within { of, .. } => {
                let half = half_width(values[0], values[1]);
                let low = Quantity::new(values[0].si() - half, dimension).ok()?;
                let high = Quantity::new(values[0].si() + half, dimension).ok()?;
                self.between(low, high, of, what)
            }
        }
    }

    fn between(&mut self, low: Quantity, high: Quantity, at: &Formula, what: &str) -> Option<Tolerance> {
        if low.si() <= high.si() {
            return Some(Tolerance::Between(low, high));
        }
        self.problems.add(
            Problem::new(
                code::BOUNDS_TURNED,
                &at.span,
                format!("{what} has its bounds the wrong way round"),
            )
            .expected("the lower bound first")
            .got(format!("{low} to {high}"))
            .mend("exchange the bounds"),
        );
        None
    }

    fn check_dimensions(&mut self, text: &ToleranceText, wanted: Dimension, what: &str) -> Option<()> {
        let mut fits = true;
        for (position, formula) in formulas(text).into_iter().enumerate() {
            let Some(got) = self.dimension_of(formula) else {
                fits = false;
                continue;
            };
            let share = matches!(text, ToleranceText::Within { .. }) && position == 1 && got.is_none();
            fits &= share || self.same_dimension(got, wanted, formula, what);
        }
        fits.then_some(())
    }

    /// Formulas for bounds that depend on readings. A choice among readings has no bounds, so it is refused.
    fn late_bounds(&mut self, text: &ToleranceText, dimension: Dimension) -> Option<LateBounds> {
        match text {
            ToleranceText::AtLeast(low) => Some(LateBounds {
                low: Some(low.expr.clone()),
                high: None,
            }),
            ToleranceText::AtMost(high) => Some(LateBounds {
                low: None,
                high: Some(high.expr.clone()),
            }),
            ToleranceText::Between(low, high) => Some(LateBounds {
                low: Some(low.expr.clone()),
                high: Some(high.expr.clone()),
            }),
            ToleranceText::Within { of, by } => {
                let relative = self.dimension_of(by)?.is_none() && !dimension.is_none();
                self.late_within(of, by, relative)
            }
            ToleranceText::AnyOf(choices) => {
                self.refuse_late_choice(&choices[0]);
                None
            }
        }
    }

    fn late_within(&mut self, of: &Formula, by: &Formula, relative: bool) -> Option<LateBounds> {
        let (of_text, by_text) = (of.expr.text(), by.expr.text());
        let half = if relative {
            format!("abs(({of_text}) * ({by_text}))")
        } else {
            format!("({by_text})")
        };
        let parse = |sign: &str| Expr::parse(&format!("({of_text}) {sign} {half}"));
        match (parse("-"), parse("+")) {
            (Ok(low), Ok(high)) => Some(LateBounds {
                low: Some(low),
                high: Some(high),
            }),
            (Err(error), _) | (_, Err(error)) => {
                self.problems.add(
                    Problem::new(
                        code::NO_NUMBER,
                        &of.span,
                        format!("the bounds cannot be put together: {error}"),
                    )
                    .expected("`of` and `by` that can be added")
                    .got(format!("`{of_text}` and `{by_text}`"))
                    .mend("write `between: [low, high]` instead"),
                );
                None
            }
        }
    }

    fn refuse_late_choice(&mut self, choice: &Formula) {
        self.problems.add(
            Problem::new(code::LATE_VALUE, &choice.span, "a choice depends on a reading")
                .expected("values that are known before the run")
                .got(format!("`{}`", choice.expr.text()))
                .mend("write `within: {of: …, by: …}` around the reading instead"),
        );
    }

    /// Refuses a unit of another dimension than the reading's.
    pub(crate) fn unit_fits(&mut self, unit: &crate::source::Sp<String>, dimension: Dimension) -> bool {
        let Some(found) = find_unit(&unit.value) else {
            self.problems.add(super::acts::unknown_unit(unit));
            return false;
        };
        if found == dimension {
            return true;
        }
        self.problems.add(
            Problem::new(
                code::DIMENSION,
                &unit.span,
                format!("`{}` does not measure this reading", unit.value),
            )
            .expected(dimension_name(dimension))
            .got(format!("`{}`, {}", unit.value, dimension_name(found)))
            .mend("write a unit of the reading's dimension"),
        );
        false
    }
}

/// The dimension of a unit; an empty unit is a pure number.
pub(crate) fn find_unit(symbol: &str) -> Option<Dimension> {
    if symbol.is_empty() || symbol == "1" {
        return Some(Dimension::NONE);
    }
    pilotage_core::Unit::find(symbol).map(|unit| unit.dimension)
}

/// Half the width of `within`, in coherent SI units.
fn half_width(of: Quantity, by: Quantity) -> f64 {
    let relative = by.dimension().is_none() && !of.dimension().is_none();
    if relative { (of.si() * by.si()).abs() } else { by.si() }
}

/// Whether a number lies inside, bounds included.
pub(crate) fn accepts(tolerance: &Tolerance, value: Quantity) -> bool {
    let si = value.si();
    match tolerance {
        Tolerance::AtLeast(low) => si >= low.si(),
        Tolerance::AtMost(high) => si <= high.si(),
        Tolerance::Between(low, high) => (low.si()..=high.si()).contains(&si),
        Tolerance::AnyOf(choices) => choices.contains(&value),
    }
}

/// A tolerance in words.
pub(crate) fn words(tolerance: &Tolerance) -> String {
    match tolerance {
        Tolerance::AtLeast(low) => format!("at least {low}"),
        Tolerance::AtMost(high) => format!("at most {high}"),
        Tolerance::Between(low, high) => format!("{low} to {high}"),
        Tolerance::AnyOf(choices) => {
            let choices: Vec<String> = choices.iter().map(ToString::to_string).collect();
            format!("one of {}", choices.join(", "))
        }
    }
}
