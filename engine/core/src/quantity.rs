//! A finite number with its dimension.

use crate::dimension::Dimension;
use crate::measured::NoValue;
use serde::{Deserialize, Serialize};

/// A finite value in coherent SI units with its dimension. NaN and infinities cannot be built.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "RawQuantity", into = "RawQuantity")]
pub struct Quantity {
    si: f64,
    dimension: Dimension,
}

#[derive(Serialize, Deserialize)]
struct RawQuantity {
    si: f64,
    dimension: Dimension,
}

impl Quantity {
    /// From a value in coherent SI units. Refuses NaN and infinities.
    pub fn new(si: f64, dimension: Dimension) -> Result<Self, NoValue> {
        if si.is_nan() {
            return Err(NoValue::NotANumber);
        }
        if si.is_infinite() {
            return Err(NoValue::Overflow);
        }
        Ok(Self { si, dimension })
    }

    /// The value in coherent SI units.
    pub fn si(self) -> f64 {
        self.si
    }

    /// The dimension.
    pub fn dimension(self) -> Dimension {
        self.dimension
    }
}

impl TryFrom<RawQuantity> for Quantity {
    type Error = NoValue;
    fn try_from(raw: RawQuantity) -> Result<Self, NoValue> {
        Self::new(raw.si, raw.dimension)
    }
}

impl From<Quantity> for RawQuantity {
    fn from(quantity: Quantity) -> Self {
        Self {
            si: quantity.si,
            dimension: quantity.dimension,
        }
    }
}
