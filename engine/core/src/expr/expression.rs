//! An expression as others see it.

use super::error::ExprError;
use super::tree::{Form, Node, Thermal};
use super::{check, evaluate, parser};
use crate::dimension::Dimension;
use crate::measured::{Datum, Measured, NoValue};
use crate::quantity::Quantity;
use crate::unit::Unit;
use std::collections::BTreeSet;

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
    root: Node,
}

impl Expr {
    /// Reads an expression. Texts over 4096 bytes and nesting over 64 are refused.
    pub fn parse(text: &str) -> Result<Self, ExprError> {
        Ok(Self {
            text: text.to_owned(),
            root: parser::parse(text)?,
        })
    }

    /// The source text.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The names that it refers to, without `$`.
    pub fn names(&self) -> BTreeSet<&str> {
        let mut names = BTreeSet::new();
        self.root.visit(&mut |node| {
            if let Form::Name(name) = &node.form {
                names.insert(name.as_str());
            }
        });
        names
    }

    /// What it will yield, or why it cannot: unknown names and mixed dimensions. A name of kind [`Kind::Truth`] is given to
    /// [`Expr::evaluate`] as a number that is 0 for false.
    pub fn kind(&self, kinds: &dyn Fn(&str) -> Option<Kind>) -> Result<Kind, ExprError> {
        check::kind(&self.root, kinds)
    }

    /// The dimension that it will yield; a truth is refused.
    pub fn dimension_of(&self, kinds: &dyn Fn(&str) -> Option<Kind>) -> Result<Dimension, ExprError> {
        match self.kind(kinds)? {
            Kind::Quantity(dimension) => Ok(dimension),
            Kind::Truth => Err(ExprError::new(
                0..self.text.len(),
                "expected a quantity, found a condition (true or false)",
            )),
        }
    }

    /// Evaluates with uncertainty (JCGM 100, first order). A missing input, a division by zero, an overflow or a NaN gives
    /// a reason instead of a value.
    pub fn evaluate(&self, values: &dyn Fn(&str) -> Option<Datum>) -> Result<Value, NoValue> {
        evaluate::value(&self.root, values)
    }

    /// The quantity, where the expression needs no names at all.
    pub fn constant(&self) -> Option<Quantity> {
        if !self.names().is_empty() || self.kind(&|_| None).is_err() {
            return None;
        }
        match self.evaluate(&|_| None) {
            Ok(Value::Measured(measured)) => Some(measured.value),
            _ => None,
        }
    }

    /// The unit that the author seems to think in: that of a lone literal, °C for a point on that scale.
    pub fn unit_hint(&self) -> Option<Unit> {
        match &self.root.form {
            _ if self.root.thermal == Thermal::Point => Some(Unit::CELSIUS),
            Form::Literal { unit, .. } => Some(*unit),
            _ => None,
        }
    }
}
