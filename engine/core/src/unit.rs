//! The table of units that files, people and instruments may use.
//!
//! One table serves parsing, display and the documentation. Powers of ten of the SI prefixes are kept as integers, so
//! that `10 µF` is read as `10e-6` and not as a product that is off in the last digit.

use crate::dimension::Dimension;
use serde::{Deserialize, Serialize};

/// A unit as written: symbol, dimension, and how a number in it becomes a number in coherent SI units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// The symbol that is printed.
    pub symbol: &'static str,
    /// What it measures.
    pub dimension: Dimension,
    /// Power of ten between the unit and the coherent SI unit, before `factor`.
    pub exponent: i32,
    /// The remaining factor (1 for all decimal units; 3600 for hours).
    pub factor: f64,
    /// What is added after scaling (273.15 for degrees Celsius, else 0).
    pub offset: f64,
}

/// A unit by its symbol, as records keep it.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct UnitName(pub String);

impl Unit {
    /// The coherent SI value of `number` in this unit.
    pub fn to_si(&self, number: f64) -> f64 {
        self.scale(number) + self.offset
    }

    /// The number in this unit of a coherent SI value.
    pub fn from_si(&self, si: f64) -> f64 {
        let shifted = (si - self.offset) / self.factor;
        if self.exponent >= 0 {
            shifted / 10f64.powi(self.exponent)
        } else {
            shifted * 10f64.powi(-self.exponent)
        }
    }

    fn scale(&self, number: f64) -> f64 {
        let scaled = if self.exponent >= 0 {
            number * 10f64.powi(self.exponent)
        } else {
            number / 10f64.powi(-self.exponent)
        };
        scaled * self.factor
    }
}
