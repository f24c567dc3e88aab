//! The table of units that files, people and instruments may use.
//!
//! One table serves parsing, display and the documentation. Powers of ten of the SI prefixes are kept as integers, so
//! that `10 µF` is read as `10e-6` and not as a product that is off in the last digit. Case is that of the SI brochure
//! (`mV` and `MV` are a factor of 10⁹ apart); the rules of SCPI for suffixes are not used here.

use crate::dimension::Dimension;
use crate::number;
use serde::{Deserialize, Serialize};

/// A unit as written: symbol, dimension, and how a number in it becomes a number in coherent SI units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// The symbol that is printed (`1` for a pure number, which is printed as nothing).
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

impl UnitName {
    /// The unit of that symbol, where the table has it.
    pub fn unit(&self) -> Option<Unit> {
        Unit::find(&self.0)
    }
}

impl From<Unit> for UnitName {
    fn from(unit: Unit) -> Self {
        Self(unit.symbol.to_owned())
    }
}

/// Current squared times time: the let-through of a protective device, the heat of a bouncing contact.
const CURRENT_SQUARED_TIME: Dimension = Dimension::from_exponents([0, 0, 1, 2, 0, 0, 0]);

/// Units of one symbol with the given prefixes.
macro_rules! prefixed {
    ($symbol:literal, $dimension:expr, $factor:literal: $($prefix:literal $exponent:literal),+) => {
        &[$(Unit::scaled(concat!($prefix, $symbol), $dimension, $exponent, $factor)),+]
    };
}

/// Units of one symbol with every prefix from pico to tera.
macro_rules! decimal {
    ($symbol:literal, $dimension:expr) => {
        prefixed!($symbol, $dimension, 1.0: "" 0, "p" -12, "n" -9, "µ" -6, "m" -3, "k" 3, "M" 6, "G" 9, "T" 12)
    };
}

/// All units, grouped by symbol without prefix; the first group of a dimension is the one that people see.
const TABLE: &[&[Unit]] = &[
    &[
        Unit::scaled("1", Dimension::NONE, 0, 1.0),
        Unit::scaled("%", Dimension::NONE, -2, 1.0),
        Unit::scaled("ppm", Dimension::NONE, -6, 1.0),
    ],
    // An angle, as a pure number in radians (SI brochure, 2.3.4); people see degrees only where a degree is named.
    &[Unit::scaled("°", Dimension::NONE, 0, std::f64::consts::PI / 180.0)],
    decimal!("V", Dimension::VOLTAGE),
    decimal!("A", Dimension::CURRENT),
    decimal!("Ω", Dimension::RESISTANCE),
    decimal!("W", Dimension::POWER),
    decimal!("VA", Dimension::POWER),
    decimal!("var", Dimension::POWER),
    prefixed!("F", Dimension::CAPACITANCE, 1.0: "" 0, "f" -15, "p" -12, "n" -9, "µ" -6, "m" -3),
    prefixed!("H", Dimension::INDUCTANCE, 1.0: "" 0, "n" -9, "µ" -6, "m" -3, "k" 3),
    decimal!("Hz", Dimension::FREQUENCY),
    prefixed!("s", Dimension::TIME, 1.0: "" 0, "f" -15, "p" -12, "n" -9, "µ" -6, "m" -3, "k" 3),
    &[
        Unit::scaled("min", Dimension::TIME, 0, 60.0),
        Unit::scaled("h", Dimension::TIME, 0, 3600.0),
        Unit::scaled("d", Dimension::TIME, 0, 86400.0),
    ],
    prefixed!("m", Dimension::LENGTH, 1.0: "" 0, "n" -9, "µ" -6, "m" -3, "c" -2, "k" 3),
    &[
        Unit::scaled("m²", Dimension::AREA, 0, 1.0),
        Unit::scaled("cm²", Dimension::AREA, -4, 1.0),
        Unit::scaled("mm²", Dimension::AREA, -6, 1.0),
    ],
    prefixed!("K", Dimension::TEMPERATURE, 1.0: "" 0, "µ" -6, "m" -3),
    &[Unit::CELSIUS],
    prefixed!("C", Dimension::CHARGE, 1.0: "" 0, "p" -12, "n" -9, "µ" -6, "m" -3, "k" 3),
    prefixed!("Ah", Dimension::CHARGE, 3600.0: "" 0, "m" -3, "k" 3),
    decimal!("J", Dimension::ENERGY),
    prefixed!("Wh", Dimension::ENERGY, 3600.0: "" 0, "m" -3, "k" 3, "M" 6),
    prefixed!("N", Dimension::FORCE, 1.0: "" 0, "µ" -6, "m" -3, "k" 3),
    prefixed!("g", Dimension::MASS, 1.0: "k" 0, "" -3, "m" -6, "µ" -9),
    prefixed!("A²s", CURRENT_SQUARED_TIME, 1.0: "" 0, "m" -3, "k" 3),
];

/// What people write instead of a symbol; used for suggestions only.
const SPOKEN: &[(&str, &str)] = &[
    ("volt", "V"),
    ("amp", "A"),
    ("ampere", "A"),
    ("ohm", "Ω"),
    ("watt", "W"),
    ("farad", "F"),
    ("henry", "H"),
    ("hertz", "Hz"),
    ("cycle", "Hz"),
    ("sec", "s"),
    ("second", "s"),
    ("msec", "ms"),
    ("usec", "µs"),
    ("minute", "min"),
    ("hr", "h"),
    ("hour", "h"),
    ("day", "d"),
    ("meter", "m"),
    ("metre", "m"),
    ("deg", "°C"),
    ("degree", "°"),
    ("celsius", "°C"),
    ("kelvin", "K"),
    ("coulomb", "C"),
    ("joule", "J"),
    ("newton", "N"),
    ("percent", "%"),
    ("pct", "%"),
];

impl Unit {
    /// A pure number.
    pub const ONE: Self = Self::scaled("1", Dimension::NONE, 0, 1.0);

    /// The degree Celsius; differences are in kelvin.
    pub const CELSIUS: Self = Self {
        symbol: "°C",
        dimension: Dimension::TEMPERATURE,
        exponent: 0,
        factor: 1.0,
        offset: 273.15,
    };

    const fn scaled(symbol: &'static str, dimension: Dimension, exponent: i32, factor: f64) -> Self {
        Self {
            symbol,
            dimension,
            exponent,
            factor,
            offset: 0.0,
        }
    }

    /// Every unit of the table.
    pub fn all() -> impl Iterator<Item = Self> {
        TABLE.iter().flat_map(|group| group.iter().copied())
    }

    /// The units that are offered for a dimension: one symbol with its prefixes, the coherent one among them.
    pub(crate) fn family(dimension: Dimension) -> &'static [Self] {
        let mut groups = TABLE.iter().copied();
        groups
            .find(|group| group.first().is_some_and(|unit| unit.dimension == dimension))
            .unwrap_or(&[])
    }

    /// The coherent SI unit of a dimension, where the table has one with a symbol of its own.
    pub fn coherent(dimension: Dimension) -> Option<Self> {
        Self::all().find(|unit| unit.dimension == dimension && unit.is_coherent())
    }

    /// The unit of a symbol: `mV`, `Ω` (also `ohm`, `Ohm`), `µs` (also `us`), `mm²` (also `mm2`), `°C` (also `degC`).
    /// Both code points of µ and of Ω are taken.
    pub fn find(symbol: &str) -> Option<Self> {
        let wanted = canonical(symbol);
        Self::all().find(|unit| unit.symbol == wanted)
    }

    /// Symbols that may have been meant, best first, at most three: other case, spoken words, one slip of the finger.
    pub fn near(symbol: &str) -> Vec<&'static str> {
        let wanted = canonical(symbol).to_lowercase();
        let mut found: Vec<&'static str> = Vec::new();
        found.extend(spoken(&wanted));
        found.extend(
            Self::all()
                .map(|unit| unit.symbol)
                .filter(|known| known.to_lowercase() == wanted),
        );
        if found.is_empty() && wanted.chars().count() > 1 {
            found.extend(one_slip(&wanted));
        }
        found.truncate(3);
        found
    }

    /// Whether a number in this unit is already in coherent SI units.
    pub fn is_coherent(&self) -> bool {
        self.exponent == 0 && self.is_decimal()
    }

    /// Whether it differs from the coherent unit by a power of ten only.
    pub(crate) fn is_decimal(&self) -> bool {
        self.factor.to_bits() == 1f64.to_bits() && !self.is_affine()
    }

    /// Whether its zero is not the zero of the quantity (°C): such a value may not be multiplied.
    pub fn is_affine(&self) -> bool {
        self.offset != 0.0
    }

    /// The coherent SI value of `number` in this unit. Captures pass here sample by sample.
    #[inline]
    pub fn to_si(&self, number: f64) -> f64 {
        number::shift(number, self.exponent) * self.factor + self.offset
    }

    /// The number in this unit of a coherent SI value.
    pub fn from_si(&self, si: f64) -> f64 {
        number::shift((si - self.offset) / self.factor, -self.exponent)
    }

    /// The coherent SI value of a decimal number as written (without sign: see [`number::scan`]); the prefix is appended
    /// to the written exponent, so the result is the double nearest to what was written.
    pub(crate) fn read(&self, written: &str) -> f64 {
        number::value(written, self.exponent) * self.factor + self.offset
    }
}

/// The table's spelling of a symbol.
fn canonical(symbol: &str) -> String {
    let mut text: String = symbol
        .trim()
        .chars()
        .map(|c| match c {
            '\u{3bc}' => 'µ',
            '\u{2126}' => 'Ω',
            c => c,
        })
        .collect();
    for (written, meant) in [
        ("degC", "°C"),
        ("\u{2103}", "°C"),
        ("Ohm", "Ω"),
        ("ohm", "Ω"),
        ("m2", "m²"),
        ("A2s", "A²s"),
    ] {
        if let Some(start) = text.strip_suffix(written) {
            text = format!("{start}{meant}");
            break;
        }
    }
    match text.strip_prefix('u') {
        Some(rest) if !rest.is_empty() => format!("µ{rest}"),
        _ => text,
    }
}

fn spoken(lower: &str) -> Option<&'static str> {
    let single = lower.strip_suffix('s').unwrap_or(lower);
    let mut words = SPOKEN.iter();
    words
        .find(|(word, _)| *word == lower || *word == single)
        .map(|(_, symbol)| *symbol)
}

fn one_slip(lower: &str) -> impl Iterator<Item = &'static str> {
    Unit::all()
        .map(|unit| unit.symbol)
        .filter(move |known| known.chars().count() > 1 && strsim::osa_distance(&known.to_lowercase(), lower) == 1)
}
