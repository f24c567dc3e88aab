//! A finite number with its dimension.

use crate::dimension::Dimension;
use crate::expr::ExprError;
use crate::format;
use crate::measured::NoValue;
use crate::number;
use crate::unit::Unit;
use serde::{Deserialize, Serialize};
use std::fmt;

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

    /// From a number in a unit. Refuses NaN and infinities.
    pub fn of(number: f64, unit: Unit) -> Result<Self, NoValue> {
        Self::new(unit.to_si(number), unit.dimension)
    }

    /// Reads `12.6 V`, `-12 V`, `35 %`, `1e-3 s`, `30` (a pure number).
    pub fn parse(text: &str) -> Result<Self, ExprError> {
        Self::parse_with_unit(text).map(|(quantity, _)| quantity)
    }

    /// Reads a quantity and says in which unit it was written (a pure number: [`Unit::ONE`]).
    pub fn parse_with_unit(text: &str) -> Result<(Self, Unit), ExprError> {
        let start = text.len() - text.trim_start().len();
        let (negative, number_at) = sign(text, start);
        let length = number::scan(&text[number_at..]).ok_or_else(|| no_number(text))?;
        let written = &text[number_at..number_at + length];
        let unit = unit_behind(text, number_at + length)?;
        let signed = if negative {
            format!("-{written}")
        } else {
            written.to_owned()
        };
        let quantity = Self::new(unit.read(&signed), unit.dimension).map_err(|_| ExprError {
            at: number_at..number_at + length,
            message: format!("{signed} is too large for a number"),
            mend: None,
        })?;
        Ok((quantity, unit))
    }

    /// The value in coherent SI units.
    pub fn si(self) -> f64 {
        self.si
    }

    /// The dimension.
    pub fn dimension(self) -> Dimension {
        self.dimension
    }

    /// The number in a unit, or `None` where the unit measures something else.
    pub fn number_in(self, unit: Unit) -> Option<f64> {
        (unit.dimension == self.dimension).then(|| unit.from_si(self.si))
    }

    /// For people, in this unit, five significant digits. A unit of another dimension is not used; the value is then shown
    /// in a unit of its own, so the reader sees what it is.
    pub fn display_in(self, unit: Unit) -> String {
        format::in_unit(self, unit, 5)
    }
}

/// For people: four significant digits and a fitting prefix, `5.289 V`, `29 mΩ`, `1.5 kΩ`.
impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&format::automatic(*self, 4))
    }
}

fn sign(text: &str, start: usize) -> (bool, usize) {
    for (written, negative) in [("-", true), ("\u{2212}", true), ("+", false)] {
        if let Some(rest) = text[start..].strip_prefix(written) {
            return (negative, text.len() - rest.trim_start().len());
        }
    }
    (false, start)
}

fn no_number(text: &str) -> ExprError {
    let point = text.trim_start_matches(['-', '+', ' ']).starts_with('.');
    let mend = if point {
        "write the 0 before the point, as in 0.5 V"
    } else {
        "write a number and a unit, as in 12.6 V"
    };
    ExprError {
        at: 0..text.len(),
        message: format!("expected a number, found `{}`", text.trim()),
        mend: Some(mend.to_owned()),
    }
}

fn unit_behind(text: &str, from: usize) -> Result<Unit, ExprError> {
    let symbol = text[from..].trim();
    if symbol.is_empty() {
        return Ok(Unit::ONE);
    }
    let known = if symbol == "1" { None } else { Unit::find(symbol) };
    known.ok_or_else(|| {
        let start = text.len() - text[from..].trim_start().len();
        unknown_unit(symbol, start)
    })
}

/// The error for a symbol that no unit has, with what may have been meant.
pub(crate) fn unknown_unit(symbol: &str, start: usize) -> ExprError {
    let near = Unit::near(symbol);
    let decimal_comma = symbol.starts_with(',');
    let mend = match near.as_slice() {
        _ if decimal_comma => Some("write the decimal point as a point: 12.6 V".to_owned()),
        [] => None,
        near => Some(format!("did you mean `{}`?", near.join("` or `"))),
    };
    ExprError {
        at: start..start + symbol.len(),
        message: format!("expected a unit after the number, found `{symbol}`"),
        mend,
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
