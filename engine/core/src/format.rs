//! Quantities as people read them: sensible digits, a fitting prefix, no noise of binary fractions.

use crate::decimal::Decimal;
use crate::dimension::Dimension;
use crate::measured::Measured;
use crate::quantity::Quantity;
use crate::unit::Unit;
use std::fmt;

/// Beyond these powers of ten a plain row of zeros is harder to read than an exponent.
const PLAIN: std::ops::RangeInclusive<i32> = -6..=14;

/// Units whose ladder is not simply "one symbol with its prefixes": symbol, and the least number shown in it.
const TIME: &[(&str, f64)] = &[
    ("ps", 1.0),
    ("ns", 1.0),
    ("µs", 1.0),
    ("ms", 1.0),
    ("s", 1.0),
    ("min", 10.0),
    ("h", 2.0),
];
const LENGTH: &[(&str, f64)] = &[("nm", 1.0), ("µm", 1.0), ("mm", 1.0), ("m", 1.0), ("km", 1.0)];
const AREA: &[(&str, f64)] = &[("mm²", 1.0), ("m²", 0.01)];
const ENERGY: &[(&str, f64)] = &[("µJ", 1.0), ("mJ", 1.0), ("J", 1.0), ("kJ", 1.0), ("kWh", 1.0)];
const NUMBER: &[(&str, f64)] = &[("1", 0.0)];

/// A value and its expanded uncertainty, both rounded to the same decimal place (JCGM 100, 7.2.6).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rounded {
    /// The value.
    pub value: String,
    /// The expanded uncertainty, two significant digits; `None` where it is exactly zero.
    pub expanded: Option<String>,
    /// The symbol of the unit, empty for a pure number.
    pub unit: String,
}

impl fmt::Display for Rounded {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let space = if self.unit.is_empty() { "" } else { " " };
        match &self.expanded {
            None => write!(f, "{}{space}{}", self.value, self.unit),
            Some(expanded) if self.unit.is_empty() => write!(f, "{} ± {expanded}", self.value),
            Some(expanded) => write!(f, "({} ± {expanded}) {}", self.value, self.unit),
        }
    }
}

/// A value ± its expanded uncertainty in a unit. `expanded_si` is in coherent SI units and not negative. Where the unit
/// measures something else, a unit of the value's own dimension is taken.
pub fn with_uncertainty(value: Quantity, expanded_si: f64, unit: Unit) -> Rounded {
    let (unit, symbol) = fitting(value, unit);
    if !(expanded_si > 0.0 && expanded_si.is_finite()) {
        return Rounded {
            value: number(&in_digits(value.si(), unit).rounded(6)),
            expanded: None,
            unit: symbol,
        };
    }
    let difference = Unit { offset: 0.0, ..unit };
    let expanded = in_digits(expanded_si, difference).rounded(2);
    let places = 1 - expanded.magnitude();
    let least = places.max(0) as usize;
    Rounded {
        value: in_digits(value.si(), unit).rounded_to_places(places).plain(least),
        expanded: Some(expanded.plain(least)),
        unit: symbol,
    }
}

/// A measured value with its expanded uncertainty (k = 2): `(5.980 ± 0.023) V`. Where the uncertainty is unknown it says
/// so. Without a unit, one that suits the value is taken.
pub fn measured(measured: &Measured, unit: Option<Unit>) -> String {
    let value = measured.value;
    let unit = unit.or_else(|| automatic_unit(value, 4)).unwrap_or(Unit::ONE);
    match measured.expanded() {
        Some(expanded) => with_uncertainty(value, expanded, unit).to_string(),
        None => format!("{}, uncertainty unknown", in_unit(value, unit, 5)),
    }
}

/// In a given unit, to so many significant digits; digits before the decimal point are never rounded away.
pub fn in_unit(quantity: Quantity, unit: Unit, significant: i32) -> String {
    let (unit, symbol) = fitting(quantity, unit);
    let digits = in_digits(quantity.si(), unit);
    let places = (significant - 1 - digits.magnitude()).max(0);
    with_symbol(&number(&digits.rounded_to_places(places)), &symbol)
}

/// With the unit and prefix that suit the value.
pub fn automatic(quantity: Quantity, significant: i32) -> String {
    let (unit, symbol) = fitting(quantity, automatic_unit(quantity, significant).unwrap_or(Unit::ONE));
    with_symbol(&number(&in_digits(quantity.si(), unit).rounded(significant)), &symbol)
}

/// Text that reads back as exactly this quantity. The unit is left for the coherent one where it cannot hold the value;
/// `None` where the dimension has no unit with a symbol.
pub fn exact(quantity: Quantity, unit: Unit) -> Option<String> {
    let coherent = Unit::coherent(quantity.dimension())?;
    let (unit, symbol) = fitting(quantity, unit);
    let text = (1..=17)
        .map(|significant| with_symbol(&number(&in_digits(quantity.si(), unit).rounded(significant)), &symbol))
        .find(|text| Quantity::parse(text).is_ok_and(|read| read == quantity));
    text.or_else(|| {
        Some(with_symbol(
            &number(&Decimal::of(quantity.si())),
            shown_symbol(coherent),
        ))
    })
}

/// The unit that suits a value: the largest in which at least 1 is shown; the coherent one for zero.
pub fn automatic_unit(quantity: Quantity, significant: i32) -> Option<Unit> {
    let coherent = Unit::coherent(quantity.dimension());
    if quantity.si() == 0.0 {
        return coherent;
    }
    let ladder = ladder(quantity.dimension());
    let mut fitting = ladder.iter().rev().filter(|(unit, least)| {
        let shown = number(&in_digits(quantity.si(), *unit).rounded(significant));
        shown.parse::<f64>().is_ok_and(|shown| shown.abs() >= *least)
    });
    let found = fitting.next().or_else(|| ladder.first());
    found.map(|(unit, _)| *unit).or(coherent)
}

/// A dimension in words, for messages: `a voltage (V)`.
pub fn dimension(dimension: Dimension) -> String {
    let name = match dimension {
        Dimension::NONE => return "a pure number".to_owned(),
        Dimension::LENGTH => "a length",
        Dimension::AREA => "an area",
        Dimension::MASS => "a mass",
        Dimension::TIME => "a time",
        Dimension::CURRENT => "a current",
        Dimension::TEMPERATURE => "a temperature",
        Dimension::FREQUENCY => "a frequency",
        Dimension::VOLTAGE => "a voltage",
        Dimension::RESISTANCE => "a resistance",
        Dimension::CAPACITANCE => "a capacitance",
        Dimension::INDUCTANCE => "an inductance",
        Dimension::CHARGE => "a charge",
        Dimension::POWER => "a power",
        Dimension::ENERGY => "an energy",
        Dimension::FORCE => "a force",
        _ => "a quantity",
    };
    let symbol = Unit::coherent(dimension).map_or_else(|| base_units(dimension), |unit| unit.symbol.to_owned());
    format!("{name} ({symbol})")
}

/// The product of base units of a dimension, `kg·m²·s⁻³`; empty for a pure number.
pub fn base_units(dimension: Dimension) -> String {
    let symbols = ["m", "kg", "s", "A", "K", "mol", "cd"];
    let parts: Vec<String> = symbols
        .iter()
        .zip(dimension.exponents())
        .filter(|(_, exponent)| *exponent != 0)
        .map(|(symbol, exponent)| {
            if exponent == 1 {
                (*symbol).to_owned()
            } else {
                format!("{symbol}{}", raised(exponent))
            }
        })
        .collect();
    parts.join("·")
}

fn raised(exponent: i8) -> String {
    let raise = |c: char| match c {
        '-' => '⁻',
        '1' => '¹',
        '2' => '²',
        '3' => '³',
        c => char::from_u32('⁰' as u32 + c.to_digit(10).unwrap_or(0)).unwrap_or(c),
    };
    exponent.to_string().chars().map(raise).collect()
}

/// The unit to show a value in, with its symbol: the given one where it measures the same, else the coherent one, which for
/// a dimension without a symbol of its own is a product of base units.
fn fitting(quantity: Quantity, unit: Unit) -> (Unit, String) {
    let dimension = quantity.dimension();
    let own = (unit.dimension == dimension).then_some(unit);
    match own.or_else(|| Unit::coherent(dimension)) {
        Some(unit) => (unit, shown_symbol(unit).to_owned()),
        None => (Unit { dimension, ..Unit::ONE }, base_units(dimension)),
    }
}

/// Units from small to large, each with the least number shown in it.
fn ladder(dimension: Dimension) -> Vec<(Unit, f64)> {
    let named = match dimension {
        Dimension::TIME => TIME,
        Dimension::LENGTH => LENGTH,
        Dimension::AREA => AREA,
        Dimension::ENERGY => ENERGY,
        Dimension::NONE => NUMBER,
        _ => {
            let mut units = Unit::family(dimension).to_vec();
            units.sort_by_key(|unit| unit.exponent);
            return units.into_iter().map(|unit| (unit, 1.0)).collect();
        }
    };
    let units = named
        .iter()
        .filter_map(|(symbol, least)| Some((Unit::find(symbol)?, *least)));
    units.collect()
}

/// Decimal digits of a value in a unit. Powers of ten move the point only; the others go through one division and lose the
/// noise of it beyond 15 digits.
fn in_digits(si: f64, unit: Unit) -> Decimal {
    if unit.is_decimal() {
        return Decimal::of(si).shifted(-unit.exponent);
    }
    let digits = Decimal::of((si - unit.offset) / unit.factor).shifted(-unit.exponent);
    // An offset takes digits away: keep what the double held before it was subtracted.
    let lost = if unit.is_affine() {
        13 - Decimal::of(si).magnitude()
    } else {
        14 - digits.magnitude()
    };
    digits.rounded_to_places(lost)
}

fn number(digits: &Decimal) -> String {
    if digits.is_zero() || PLAIN.contains(&digits.magnitude()) {
        digits.plain(0)
    } else {
        digits.scientific()
    }
}

fn shown_symbol(unit: Unit) -> &'static str {
    if unit.symbol == "1" { "" } else { unit.symbol }
}

fn with_symbol(number: &str, symbol: &str) -> String {
    if symbol.is_empty() {
        number.to_owned()
    } else {
        format!("{number} {symbol}")
    }
}
