//! A quantity with its uncertainty, or the reason why there is no value.

use crate::quantity::Quantity;
use serde::{Deserialize, Serialize};

/// One term of an uncertainty budget (JCGM 100, 5.1).
///
/// Terms of one source are fully correlated: in a ratio of two readings of one meter range they partly cancel. That is why
/// `standard` has a sign: it is the sensitivity coefficient times the standard uncertainty of the source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Contribution {
    /// What it comes from, e.g. `meter DC voltage 10 V range, gain`.
    pub source: String,
    /// Signed standard uncertainty in coherent SI units of the quantity.
    pub standard: f64,
    /// Degrees of freedom; `None` is infinitely many.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub degrees_of_freedom: Option<f64>,
}

/// What is known about the uncertainty of a value. Unknown stays unknown through arithmetic.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Uncertainty {
    /// The terms; none at all means an exact value (a count, a constant).
    Known(Vec<Contribution>),
    /// Nothing can be said, and why.
    Unknown(String),
}

/// A value that was measured or computed, with its uncertainty.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// The best estimate.
    pub value: Quantity,
    /// Its uncertainty.
    pub uncertainty: Uncertainty,
}

/// Why there is no value. None of these is ever a pass.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, thiserror::Error)]
#[serde(rename_all = "snake_case")]
pub enum NoValue {
    /// A divisor was zero.
    #[error("division by zero")]
    DivisionByZero,
    /// A result was too large for a number.
    #[error("overflow")]
    Overflow,
    /// A result or a reply was not a number (an instrument's 9.91E37 too).
    #[error("not a number")]
    NotANumber,
    /// The instrument reported overload (9.9E37, or a status bit).
    #[error("the instrument reported overload")]
    Overload,
    /// No reply came in time.
    #[error("no reply in time")]
    TimedOut,
    /// The value was never taken: the step that takes it did not run, or the event did not come.
    #[error("{0}")]
    Missing(String),
    /// The bench could not take it (instrument error, lost link).
    #[error("bench: {0}")]
    Bench(String),
}

/// A value, or the reason why there is none.
pub type Datum = Result<Measured, NoValue>;

impl Measured {
    /// A value known exactly.
    pub fn exact(value: Quantity) -> Self {
        Self {
            value,
            uncertainty: Uncertainty::Known(Vec::new()),
        }
    }
}
