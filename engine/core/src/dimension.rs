//! Dimensions: what may be added to and compared with what.

use serde::{Deserialize, Serialize};

/// Exponents of the SI base quantities in the order m, kg, s, A, K, mol, cd.
///
/// Source: the SI brochure, 9th edition, section 2.3.3.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Dimension([i8; 7]);

impl Dimension {
    /// A pure number: ratios, percentages, counts.
    pub const NONE: Self = Self([0; 7]);
    /// Metre.
    pub const LENGTH: Self = Self([1, 0, 0, 0, 0, 0, 0]);
    /// Square metre.
    pub const AREA: Self = Self([2, 0, 0, 0, 0, 0, 0]);
    /// Kilogram.
    pub const MASS: Self = Self([0, 1, 0, 0, 0, 0, 0]);
    /// Second.
    pub const TIME: Self = Self([0, 0, 1, 0, 0, 0, 0]);
    /// Ampere.
    pub const CURRENT: Self = Self([0, 0, 0, 1, 0, 0, 0]);
    /// Kelvin.
    pub const TEMPERATURE: Self = Self([0, 0, 0, 0, 1, 0, 0]);
    /// Hertz.
    pub const FREQUENCY: Self = Self([0, 0, -1, 0, 0, 0, 0]);
    /// Volt.
    pub const VOLTAGE: Self = Self([2, 1, -3, -1, 0, 0, 0]);
    /// Ohm.
    pub const RESISTANCE: Self = Self([2, 1, -3, -2, 0, 0, 0]);
    /// Farad.
    pub const CAPACITANCE: Self = Self([-2, -1, 4, 2, 0, 0, 0]);
    /// Henry.
    pub const INDUCTANCE: Self = Self([2, 1, -2, -2, 0, 0, 0]);
    /// Coulomb.
    pub const CHARGE: Self = Self([0, 0, 1, 1, 0, 0, 0]);
    /// Watt.
    pub const POWER: Self = Self([2, 1, -3, 0, 0, 0, 0]);
    /// Joule.
    pub const ENERGY: Self = Self([2, 1, -2, 0, 0, 0, 0]);
    /// Newton.
    pub const FORCE: Self = Self([1, 1, -2, 0, 0, 0, 0]);

    /// From exponents in the order m, kg, s, A, K, mol, cd.
    pub const fn from_exponents(exponents: [i8; 7]) -> Self {
        Self(exponents)
    }

    /// The exponents in the order m, kg, s, A, K, mol, cd.
    pub const fn exponents(self) -> [i8; 7] {
        self.0
    }

    /// Whether this is a pure number.
    pub fn is_none(self) -> bool {
        self == Self::NONE
    }

    /// The dimension of a product; `None` where an exponent leaves the range of `i8`.
    pub fn times(self, other: Self) -> Option<Self> {
        self.combine(other, i8::checked_add)
    }

    /// The dimension of a quotient; `None` where an exponent leaves the range of `i8`.
    pub fn per(self, other: Self) -> Option<Self> {
        self.combine(other, i8::checked_sub)
    }

    /// The dimension of a square root; `None` where an exponent is odd.
    pub fn root(self) -> Option<Self> {
        let mut halves = [0; 7];
        for (half, exponent) in halves.iter_mut().zip(self.0) {
            if exponent % 2 != 0 {
                return None;
            }
            *half = exponent / 2;
        }
        Some(Self(halves))
    }

    fn combine(self, other: Self, operation: fn(i8, i8) -> Option<i8>) -> Option<Self> {
        let mut result = [0; 7];
        for ((slot, a), b) in result.iter_mut().zip(self.0).zip(other.0) {
            *slot = operation(a, b)?;
        }
        Some(Self(result))
    }
}
