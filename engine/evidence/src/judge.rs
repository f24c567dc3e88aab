//! One reading against one limit: a pure function with its truth table above it.
//!
//! Nothing that is missing, overloaded, late or not a number ever passes. Comparisons are exact: no fudge is added to a
//! bound, a bound belongs to the accepted side, and one unit in the last place decides.

use crate::event::{Judgement, Reading};
use crate::heading::LimitPlate;
use crate::normal;
use crate::words::{DecisionRule, SourceStatus, Verdict};
use pilotage_core::{Measured, NoValue, Quantity, Tolerance, Uncertainty, format};

/// Mark beside a verdict whose reading has no known uncertainty.
pub const UNCERTAINTY_UNKNOWN: &str = "uncertainty unknown";
/// Mark beside a verdict whose limit nobody has seen in writing.
pub const LIMIT_FROM_MEMORY: &str = "limit from memory";
/// Mark where the guard bands of both bounds meet: no reading of this uncertainty could pass.
pub const UNCERTAINTY_TOO_LARGE: &str = "uncertainty too large for this limit";
/// Mark where a reading lies within U of a bound.
pub const IN_GUARD_BAND: &str = "in the guard band";

/// Mark where an event did not come within the time that was waited for it.
pub const DID_NOT_COME: &str = "did not come";
/// Mark where the sequence claims inconclusive for what would have been a fail (an item that waits).
pub const CLAIMED_INCONCLUSIVE: &str = "inconclusive by the sequence";
/// Mark where the bench cannot decide a limit; the reason follows after a colon.
pub const NOT_DECIDABLE: &str = "not decidable on this bench";
/// Mark where a value with an uncertainty stands against choices.
pub const CHOICE_NEEDS_EXACT: &str = "a choice needs an exact value";
/// Mark where a demand on the bench is not met: that is the bench's error and never a fail of the item.
pub const OF_THE_BENCH: &str = "a demand on the bench";
/// Name of the constant of a reading without a value that says how long its event was waited for.
pub const WAITED: &str = "waited";

/// Source of the uncertainty of a value that a person typed and nobody said how exact it is.
pub const TYPED: &str = "half of the last digit that was typed";
/// Mark beside a verdict that rests on it.
pub const TYPED_DIGITS: &str = "uncertainty from the typed digits only";

/// Coverage factor of the expanded uncertainty U = k·u (JCGM 100, 6.2; k = 2 is about 95 % for a normal distribution).
pub const COVERAGE_FACTOR: f64 = 2.0;

/// What a judgement says.
#[derive(Debug, Clone, PartialEq)]
pub struct Ruling {
    /// The outcome.
    pub verdict: Verdict,
    /// Expanded uncertainty (k = 2) in coherent SI units, where known.
    pub expanded: Option<f64>,
    /// Distance to the nearest bound in coherent SI units: positive inside, negative outside. Choices have none.
    pub margin: Option<f64>,
    /// Probability that the true value lies outside the limit (JCGM 106, 7), where the uncertainty is known.
    pub risk: Option<f64>,
    /// Marks printed beside the verdict.
    pub marks: Vec<String>,
}

/// Judges a reading against a tolerance.
///
/// y is the value, U = 2u its expanded uncertainty, TL the nearest bound. The first row that applies decides.
///
/// | # | reading | tolerance | `simple` (ILAC-G8:09/2019, 4.2.1) | `guard_banded` (4.2.3 with w = U) | mark |
/// | --- | --- | --- | --- | --- | --- |
/// | 1 | no value: bench, timed out, not a number | any | error | error | the reason |
/// | 2 | no value: missing, overload, overflow, division by zero | any | inconclusive | inconclusive | the reason |
/// | 3 | any value | empty (no choices, low above high) | error | error | limit cannot be met |
/// | 4 | another dimension than a bound | any | error | error | dimension |
/// | 5 | exact (u = 0) | choices | pass if equal to one, else fail | the same | |
/// | 6 | u > 0 | choices | pass if equal to one, else fail | inconclusive | a choice needs an exact value |
/// | 7 | u unknown | choices | pass if equal to one, else fail | inconclusive | uncertainty unknown |
/// | 8 | u unknown | bounds | pass at and inside TL, else fail | inconclusive | uncertainty unknown |
/// | 9 | u known, y at least U inside every TL | bounds | pass | pass | |
/// | 10 | u known, y inside or at TL, nearer than U | bounds | pass | inconclusive | in the guard band |
/// | 11 | u known, y outside TL by at most U | bounds | fail | inconclusive | in the guard band |
/// | 12 | u known, y outside TL by more than U | bounds | fail | fail | |
///
/// A reading exactly U inside TL passes (row 9); one exactly U outside is still in the guard band (row 11). An exact
/// reading (u = 0) gets the same verdict from both rules. A contribution that is not a finite number counts as unknown.
///
/// The rows 1 and 2 differ by whose fault it is: what the bench could not do is an error; what the bench did, without
/// a number coming out, says nothing about the item and is inconclusive.
pub fn judge(value: Result<&Measured, &NoValue>, tolerance: &Tolerance, rule: DecisionRule) -> Ruling {
    let measured = match value {
        Ok(measured) => measured,
        Err(reason) => return without_value(reason),
    };
    if let Some(problem) = misfit(measured.value, tolerance) {
        return bare(Verdict::Error, problem);
    }
    let standard = standard_uncertainty(&measured.uncertainty);
    let y = measured.value.si();
    match tolerance {
        Tolerance::AnyOf(choices) => against_choices(y, choices, standard, rule),
        Tolerance::AtLeast(low) => against_bounds(y, &Bounds::new(Some(*low), None), standard, rule),
        Tolerance::AtMost(high) => against_bounds(y, &Bounds::new(None, Some(*high)), standard, rule),
        Tolerance::Between(low, high) => against_bounds(y, &Bounds::new(Some(*low), Some(*high)), standard, rule),
    }
}

/// [`judge`] against a limit with its source: adds the marks of a limit that nobody has seen in writing, and of a value of
/// which only the typed digits say how exact it is.
///
/// Where the bounds come of readings, U is that of the reading less its bound.
pub fn judge_limit(value: Result<&Measured, &NoValue>, limit: &LimitPlate, rule: DecisionRule) -> Ruling {
    let counted = value.map(|measured| Measured {
        value: measured.value,
        uncertainty: limit.counted(&measured.uncertainty),
    });
    let value = counted.as_ref().map_err(|reason| *reason);
    let mut ruling = judge(value, &limit.tolerance, rule);
    if limit.status == SourceStatus::FromMemory {
        ruling.marks.push(LIMIT_FROM_MEMORY.to_owned());
    }
    if value.is_ok_and(rests_on_typed_digits) {
        ruling.marks.push(TYPED_DIGITS.to_owned());
    }
    ruling
}

/// Whether somebody's typed digits, and nothing better, say how exact a value is.
pub fn rests_on_typed_digits(measured: &Measured) -> bool {
    matches!(&measured.uncertainty, Uncertainty::Known(terms) if terms.iter().any(|term| term.source.starts_with(TYPED)))
}

/// [`judge_limit`] for a reading as the journal keeps it. The runner and the record's own check both come through here.
///
/// An event that did not come is a reading without a value whose constants say how long was [`WAITED`]. All that is then
/// known is that the time is longer:
///
/// | longer than W is known | tolerance | verdict, both rules | mark |
/// | --- | --- | --- | --- |
/// | W at or above the upper bound | has an upper bound | fail | did not come |
/// | W below the upper bound | has an upper bound | inconclusive | did not come |
/// | W of any length | lower bound or choices only | inconclusive | did not come |
pub fn judge_reading(reading: &Reading, limit: &LimitPlate, rule: DecisionRule) -> Ruling {
    match (&reading.value, &reading.no_value) {
        (Some(_), Some(_)) | (None, None) => bare(Verdict::Error, "the reading has no number to judge".to_owned()),
        (Some(measured), None) => judge_limit(Ok(measured), limit, rule),
        (None, Some(reason)) => {
            let mut ruling = judge_limit(Err(reason), limit, rule);
            if let (NoValue::Missing(_), Some(waited)) = (reason, reading.constants.get(WAITED)) {
                ruling.verdict = longer_than(*waited, &limit.tolerance);
                ruling.marks.insert(0, DID_NOT_COME.to_owned());
            }
            ruling
        }
    }
}

fn longer_than(waited: Quantity, tolerance: &Tolerance) -> Verdict {
    match tolerance {
        Tolerance::AtMost(high) | Tolerance::Between(_, high) if high.dimension() != waited.dimension() => {
            Verdict::Error
        }
        Tolerance::AtMost(high) | Tolerance::Between(_, high) if waited.si() >= high.si() => Verdict::Fail,
        _ => Verdict::Inconclusive,
    }
}

impl Ruling {
    /// What a sequence may claim with `otherwise: {verdict: inconclusive}`: a fail becomes inconclusive, and says so.
    #[must_use]
    pub fn claimed_inconclusive(mut self) -> Self {
        if self.verdict == Verdict::Fail {
            self.verdict = Verdict::Inconclusive;
            self.marks.push(CLAIMED_INCONCLUSIVE.to_owned());
        }
        self
    }

    /// What is demanded of the bench and not met is an error of the bench, and says so; it never reads as a fail of the item.
    /// An overload where the bench should show a number is not met either.
    #[must_use]
    pub fn of_the_bench(mut self, reading: &Reading) -> Self {
        if self.verdict == Verdict::Fail || reading.no_value == Some(NoValue::Overload) {
            self.verdict = Verdict::Error;
            self.marks.push(OF_THE_BENCH.to_owned());
        }
        self
    }

    /// Where the bench cannot decide this limit although it has a value (an uncertainty that the sequence needs is not
    /// met): neither a pass nor a fail stands, and the mark says why.
    #[must_use]
    pub fn not_decidable(mut self, why: &str) -> Self {
        if matches!(self.verdict, Verdict::Pass | Verdict::Fail) {
            self.verdict = Verdict::Inconclusive;
            self.marks.push(format!("{NOT_DECIDABLE}: {why}"));
        }
        self
    }

    /// As the journal keeps it.
    pub fn of(self, reading: &Reading, seq: u64, limit: &LimitPlate) -> Judgement {
        Judgement {
            name: reading.name.clone(),
            step: reading.step,
            pass: reading.pass.clone(),
            reading: seq,
            limit: limit.clone(),
            verdict: self.verdict,
            expanded: self.expanded,
            margin: self.margin,
            risk: self.risk,
            marks: self.marks,
        }
    }
}

/// The combined standard uncertainty in coherent SI units; `None` where unknown, or where U is not a finite number.
pub fn standard_uncertainty(uncertainty: &Uncertainty) -> Option<f64> {
    pilotage_core::uncertainty::standard(uncertainty).filter(|u| (COVERAGE_FACTOR * u).is_finite())
}

fn without_value(reason: &NoValue) -> Ruling {
    let verdict = match reason {
        NoValue::Bench(_) | NoValue::TimedOut | NoValue::NotANumber => Verdict::Error,
        NoValue::Missing(_) | NoValue::Overload | NoValue::Overflow | NoValue::DivisionByZero => Verdict::Inconclusive,
    };
    bare(verdict, reason.to_string())
}

fn bare(verdict: Verdict, mark: String) -> Ruling {
    Ruling {
        verdict,
        expanded: None,
        margin: None,
        risk: None,
        marks: vec![mark],
    }
}

/// Why this tolerance cannot judge this value at all (rows 3 and 4).
fn misfit(value: Quantity, tolerance: &Tolerance) -> Option<String> {
    let bounds: Vec<Quantity> = match tolerance {
        Tolerance::AtLeast(bound) | Tolerance::AtMost(bound) => vec![*bound],
        Tolerance::Between(low, high) => vec![*low, *high],
        Tolerance::AnyOf(choices) => choices.clone(),
    };
    if bounds.is_empty() {
        return Some("limit cannot be met: it has no choices".to_owned());
    }
    if let Some(other) = bounds.iter().find(|bound| bound.dimension() != value.dimension()) {
        return Some(format!(
            "dimension: the limit is {}, the reading is {}",
            format::dimension(other.dimension()),
            format::dimension(value.dimension())
        ));
    }
    match tolerance {
        Tolerance::Between(low, high) if low.si() > high.si() => {
            Some("limit cannot be met: its lower bound is above its upper bound".to_owned())
        }
        _ => None,
    }
}

/// Rows 5 to 7. Equality is meant: choices are codes, not measured numbers.
#[expect(clippy::float_cmp, reason = "codes and choices are equal or they are not")]
fn against_choices(y: f64, choices: &[Quantity], standard: Option<f64>, rule: DecisionRule) -> Ruling {
    let met = pass_if(choices.iter().any(|choice| choice.si() == y));
    let exact = standard == Some(0.0);
    let verdict = match rule {
        DecisionRule::GuardBanded if !exact => Verdict::Inconclusive,
        DecisionRule::GuardBanded | DecisionRule::Simple => met,
    };
    let marks = match standard {
        None => vec![UNCERTAINTY_UNKNOWN.to_owned()],
        Some(_) if exact => Vec::new(),
        Some(_) => vec![CHOICE_NEEDS_EXACT.to_owned()],
    };
    Ruling {
        verdict,
        expanded: standard.map(|u| COVERAGE_FACTOR * u),
        margin: None,
        risk: None,
        marks,
    }
}

/// Bounds in coherent SI units; at least one is there.
struct Bounds {
    low: Option<f64>,
    high: Option<f64>,
}

impl Bounds {
    fn new(low: Option<Quantity>, high: Option<Quantity>) -> Self {
        Self {
            low: low.map(Quantity::si),
            high: high.map(Quantity::si),
        }
    }

    /// Whether y lies inside every bound moved inwards by `inset` (outwards where negative); bounds belong to the inside.
    fn hold(&self, y: f64, inset: f64) -> bool {
        self.low.is_none_or(|low| at_least_sum(y, low, inset))
            && self.high.is_none_or(|high| at_least_sum(-y, -high, inset))
    }

    /// Distance to the nearest bound: positive inside, negative outside.
    fn margin(&self, y: f64) -> Option<f64> {
        let to_low = self.low.map_or(f64::INFINITY, |low| y - low);
        let to_high = self.high.map_or(f64::INFINITY, |high| high - y);
        Some(to_low.min(to_high)).filter(|margin| margin.is_finite())
    }

    /// Probability that the true value lies outside (JCGM 106:2012, 7.2 to 7.4), for a normal distribution.
    fn risk(&self, y: f64, standard: f64) -> f64 {
        if standard <= 0.0 {
            return if self.hold(y, 0.0) { 0.0 } else { 1.0 };
        }
        let below = self.low.map_or(0.0, |low| normal::cumulative((low - y) / standard));
        let above = self.high.map_or(0.0, |high| normal::cumulative((y - high) / standard));
        (below + above).min(1.0)
    }
}

/// Whether y ≥ bound + inset, exactly: the rounding error of the sum is worked out (two-sum) and decides a tie.
#[expect(clippy::float_cmp, reason = "the tie is exactly what must be told apart")]
fn at_least_sum(y: f64, bound: f64, inset: f64) -> bool {
    let sum = bound + inset;
    if y != sum || !sum.is_finite() {
        return y > sum;
    }
    let inset_part = sum - bound;
    let error = (bound - (sum - inset_part)) + (inset - inset_part);
    error <= 0.0
}

fn against_bounds(y: f64, bounds: &Bounds, standard: Option<f64>, rule: DecisionRule) -> Ruling {
    let simple = pass_if(bounds.hold(y, 0.0));
    let Some(standard) = standard else {
        return Ruling {
            verdict: match rule {
                DecisionRule::Simple => simple,
                DecisionRule::GuardBanded => Verdict::Inconclusive,
            },
            expanded: None,
            margin: bounds.margin(y),
            risk: None,
            marks: vec![UNCERTAINTY_UNKNOWN.to_owned()],
        };
    };
    let expanded = COVERAGE_FACTOR * standard;
    let decided = outside_guard_band(y, bounds, expanded);
    Ruling {
        verdict: match rule {
            DecisionRule::Simple => simple,
            DecisionRule::GuardBanded => decided.unwrap_or(Verdict::Inconclusive),
        },
        expanded: Some(expanded),
        margin: bounds.margin(y),
        risk: Some(bounds.risk(y, standard)),
        marks: guard_marks(bounds, expanded, decided),
    }
}

/// Rows 9 and 12; `None` for rows 10 and 11.
fn outside_guard_band(y: f64, bounds: &Bounds, expanded: f64) -> Option<Verdict> {
    if bounds.hold(y, expanded) {
        Some(Verdict::Pass)
    } else if bounds.hold(y, -expanded) {
        None
    } else {
        Some(Verdict::Fail)
    }
}

fn guard_marks(bounds: &Bounds, expanded: f64, decided: Option<Verdict>) -> Vec<String> {
    let mut marks = Vec::new();
    if decided.is_none() {
        marks.push(IN_GUARD_BAND.to_owned());
    }
    if let (Some(low), Some(high)) = (bounds.low, bounds.high)
        && high - low < 2.0 * expanded
    {
        marks.push(UNCERTAINTY_TOO_LARGE.to_owned());
    }
    marks
}

fn pass_if(inside: bool) -> Verdict {
    if inside { Verdict::Pass } else { Verdict::Fail }
}

#[cfg(test)]
#[path = "judge_tests.rs"]
mod tests;
