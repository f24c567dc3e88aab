//! Expressions over quantities, checked for dimension before they are ever evaluated.

use crate::dimension::Dimension;
use crate::measured::{Datum, Measured, NoValue};
use std::collections::BTreeSet;
use std::ops::Range;

/// What an expression yields, known before it is evaluated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A quantity of this dimension.
    Quantity(Dimension),
    /// True or false.
    Truth,
}

/// What an expression yielded.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A quantity with its uncertainty.
    Measured(Measured),
    /// True or false.
    Truth(bool),
}

/// A parsed expression. `$name` refers to a value; a unit stands only directly after a number.
#[derive(Debug, Clone, PartialEq)]
pub struct Expr {
    text: String,
}

/// What is wrong with an expression, and where.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct ExprError {
    /// Byte range within the text.
    pub at: Range<usize>,
    /// What is wrong: what was expected and what came.
    pub message: String,
    /// How to mend it.
    pub mend: Option<String>,
}

impl Expr {
    /// Reads an expression.
    pub fn parse(text: &str) -> Result<Self, ExprError> {
        Ok(Self { text: text.to_owned() })
    }

    /// The source text.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The names that it refers to, without `$`.
    pub fn names(&self) -> BTreeSet<&str> {
        BTreeSet::new()
    }

    /// What it will yield, or why it cannot: unknown names and mixed dimensions.
    pub fn kind(&self, _kinds: &dyn Fn(&str) -> Option<Kind>) -> Result<Kind, ExprError> {
        Ok(Kind::Truth)
    }

    /// Evaluates with uncertainty (JCGM 100, first order). A missing input, a division by zero, an overflow or a NaN gives
    /// a reason instead of a value.
    pub fn evaluate(&self, _values: &dyn Fn(&str) -> Option<Datum>) -> Result<Value, NoValue> {
        Err(NoValue::NotANumber)
    }
}
