//! Quantities, limits and sources as people read them.

use crate::heading::LimitPlate;
use crate::judge;
use crate::words::{DecisionRule, SourceStatus};
use pilotage_core::{Datum, Measured, Quantity, RunTime, Tolerance, Uncertainty, Unit, format};

/// Significant digits of bounds and of values whose uncertainty is not known.
const DIGITS: i32 = 6;

/// Seconds since the start, nearest to the nanoseconds of the journal.
pub(super) fn seconds(time: RunTime) -> f64 {
    time.0 as f64 / 1e9
}

/// The unit to print in; the coherent one of the value where the symbol is not known or measures something else.
pub(super) fn unit_for(symbol: &str, quantity: Quantity) -> Option<Unit> {
    let named = Unit::find(symbol).filter(|unit| unit.dimension == quantity.dimension());
    named.or_else(|| Unit::coherent(quantity.dimension()))
}

/// The same unit for differences: a margin in °C is a margin in K.
pub(super) fn difference_unit(unit: Unit) -> Unit {
    if unit.is_affine() {
        Unit::find("K").unwrap_or(unit)
    } else {
        unit
    }
}

/// A number of an expanded uncertainty or a margin in a unit.
pub(super) fn difference_in(si: f64, unit: Unit) -> f64 {
    difference_unit(unit).from_si(si)
}

fn plain(quantity: Quantity, symbol: &str, digits: i32) -> String {
    match unit_for(symbol, quantity) {
        Some(unit) => format::in_unit(quantity, unit, digits),
        None => format::automatic(quantity, digits),
    }
}

/// Value and expanded uncertainty, each with its unit, rounded to the same place (JCGM 100, 7.2.6).
pub(super) fn value_and_expanded(datum: &Datum, symbol: &str) -> (String, String) {
    let measured = match datum {
        Ok(measured) => measured,
        Err(reason) => return (format!("no value: {reason}"), String::new()),
    };
    let Some(unit) = unit_for(symbol, measured.value) else {
        return (format::automatic(measured.value, DIGITS), String::new());
    };
    match (expanded(measured), &measured.uncertainty) {
        (Some(expanded), _) if expanded > 0.0 => {
            let rounded = format::with_uncertainty(measured.value, expanded, unit);
            let with_unit = |number: String, unit: &str| {
                if unit.is_empty() {
                    number
                } else {
                    format!("{number} {unit}")
                }
            };
            (
                with_unit(rounded.value, &rounded.unit),
                rounded.expanded.map_or_else(
                    || "exact".to_owned(),
                    |number| with_unit(number, difference_symbol(unit)),
                ),
            )
        }
        (Some(_), _) => (plain(measured.value, symbol, DIGITS), "exact".to_owned()),
        (None, Uncertainty::Unknown(why)) => (plain(measured.value, symbol, DIGITS), format!("unknown: {why}")),
        (None, Uncertainty::Known(_)) => (
            plain(measured.value, symbol, DIGITS),
            "unknown: not a number".to_owned(),
        ),
    }
}

fn difference_symbol(unit: Unit) -> &'static str {
    match difference_unit(unit).symbol {
        "1" => "",
        symbol => symbol,
    }
}

/// Expanded uncertainty (k = 2) in coherent SI units, where known.
pub(super) fn expanded(measured: &Measured) -> Option<f64> {
    judge::standard_uncertainty(&measured.uncertainty).map(|standard| judge::COVERAGE_FACTOR * standard)
}

/// A tolerance in its unit, e.g. `8.477 … 9.489 V`.
pub(super) fn tolerance(tolerance: &Tolerance, symbol: &str) -> String {
    let one = |quantity: &Quantity| plain(*quantity, symbol, DIGITS);
    match tolerance {
        Tolerance::AtLeast(low) => format!("≥ {}", one(low)),
        Tolerance::AtMost(high) => format!("≤ {}", one(high)),
        Tolerance::Between(low, high) => {
            let (low, high) = (one(low), one(high));
            let unit = high.rsplit_once(' ').map_or("", |(_, unit)| unit);
            let low = low.strip_suffix(unit).unwrap_or(&low).trim_end();
            format!("{low} … {high}")
        }
        Tolerance::AnyOf(choices) => choices.iter().map(one).collect::<Vec<_>>().join(" or "),
    }
}

/// A margin with its sign.
pub(super) fn margin(si: f64, value: Quantity, symbol: &str) -> String {
    let Some(unit) = unit_for(symbol, value).map(difference_unit) else {
        return String::new();
    };
    match Quantity::new(si, value.dimension()) {
        Ok(quantity) => {
            let sign = if si >= 0.0 { "+" } else { "" };
            format!("{sign}{}", format::in_unit(quantity, unit, 3))
        }
        Err(_) => String::new(),
    }
}

/// A probability as a percentage of two digits; never rounded to 0 or 100 %.
pub(super) fn risk(probability: f64) -> String {
    let percent = probability * 100.0;
    match percent {
        _ if percent <= 0.0 => "0 %".to_owned(),
        _ if percent >= 100.0 => "100 %".to_owned(),
        _ if percent < 0.01 => "< 0.01 %".to_owned(),
        _ if percent > 99.99 => "> 99.99 %".to_owned(),
        _ if percent < 1.0 => format!("{percent:.2} %"),
        _ if !(10.0..=99.0).contains(&percent) => format!("{percent:.1} %"),
        _ => format!("{percent:.0} %"),
    }
}

/// The source of a limit in one line.
pub(super) fn source(limit: &LimitPlate) -> String {
    let named = [&limit.standard, &limit.edition, &limit.clause];
    let named: Vec<&str> = named
        .into_iter()
        .map(String::as_str)
        .filter(|text| !text.is_empty())
        .collect();
    let by = match (&limit.by, limit.status) {
        (Some(by), SourceStatus::Restated) => format!(" by {by}"),
        (Some(by), _) => format!(": {by}"),
        (None, _) => String::new(),
    };
    let separator = if named.is_empty() { "" } else { "; " };
    format!("{}{separator}{}{by}", named.join(", "), limit.status)
}

/// How uncertainty enters verdicts, as ISO/IEC 17025, 7.8.6 wants it said.
pub(super) fn decision(rule: DecisionRule) -> &'static str {
    match rule {
        DecisionRule::Simple => {
            "Simple acceptance (ILAC-G8:09/2019, 4.2.1): a value inside its limit or at its bound passes. The expanded \
             uncertainty U (k = 2) and the probability that the true value lies outside stand beside each verdict; at the \
             bound it is 50 %."
        }
        DecisionRule::GuardBanded => {
            "Guard band w = U, k = 2 (ILAC-G8:09/2019, 4.2.3): a value at least U inside its limit passes, one more than U \
             outside fails, between the two nothing can be said. The probability that a pass is wrong is below 2.5 % for \
             each bound."
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::{margin, risk, tolerance, value_and_expanded};
    use pilotage_core::{Contribution, Dimension, Measured, NoValue, Quantity, Tolerance, Uncertainty};

    fn volts(si: f64) -> Quantity {
        Quantity::new(si, Dimension::VOLTAGE).unwrap()
    }

    fn known(value: Quantity, standard: f64) -> Measured {
        let source = "meter".to_owned();
        let degrees_of_freedom = None;
        Measured {
            value,
            uncertainty: Uncertainty::Known(vec![Contribution {
                source,
                standard,
                degrees_of_freedom,
            }]),
        }
    }

    #[test]
    fn value_and_uncertainty_are_rounded_to_the_same_place() {
        let both = value_and_expanded(&Ok(known(volts(8.987_654), 0.0061)), "V");
        assert_eq!(both, ("8.988 V".to_owned(), "0.012 V".to_owned()));
        let kelvin = Quantity::new(313.15, Dimension::TEMPERATURE).unwrap();
        assert_eq!(
            value_and_expanded(&Ok(known(kelvin, 0.5)), "°C"),
            ("40.0 °C".to_owned(), "1.0 K".to_owned())
        );
    }

    #[test]
    fn what_is_not_known_is_said() {
        let unknown = Measured {
            value: volts(9.0),
            uncertainty: Uncertainty::Unknown("no accuracy in the driver".to_owned()),
        };
        assert_eq!(
            value_and_expanded(&Ok(unknown), "V").1,
            "unknown: no accuracy in the driver"
        );
        assert_eq!(
            value_and_expanded(&Ok(Measured::exact(volts(9.0))), "V"),
            ("9 V".to_owned(), "exact".to_owned())
        );
        assert_eq!(
            value_and_expanded(&Err(NoValue::TimedOut), "V").0,
            "no value: no reply in time"
        );
    }

    #[test]
    fn limits_and_margins_in_their_unit() {
        assert_eq!(
            tolerance(&Tolerance::Between(volts(8.477), volts(9.489)), "V"),
            "8.477 … 9.489 V"
        );
        assert_eq!(tolerance(&Tolerance::AtMost(volts(0.029)), "mV"), "≤ 29 mV");
        assert_eq!(
            tolerance(&Tolerance::AnyOf(vec![volts(120.0), volts(230.0)]), "V"),
            "120 V or 230 V"
        );
        assert_eq!(margin(0.5, volts(9.0), "V"), "+0.5 V");
        assert_eq!(margin(-0.0024, volts(9.0), "mV"), "-2.4 mV");
    }

    #[test]
    fn a_risk_is_never_rounded_to_none_or_certain() {
        let texts: Vec<String> = [0.0, 1e-9, 0.0012, 0.022_75, 0.5, 0.999, 0.999_99, 1.0]
            .into_iter()
            .map(risk)
            .collect();
        assert_eq!(
            texts,
            [
                "0 %",
                "< 0.01 %",
                "0.12 %",
                "2.3 %",
                "50 %",
                "99.9 %",
                "> 99.99 %",
                "100 %"
            ]
        );
    }
}
