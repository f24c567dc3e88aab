//! A value that a person types: `12.5`, `12.5 A`, `12.5 A ± 0.2 A`.
//!
//! The expanded uncertainty (k = 2) behind `±` (or `+-`, `+/-`) counts first, then the one that the sequence states. Without
//! either, the digits say how exact the value is: half of the last one, rectangular (JCGM 100, F.2.2.1).

use pilotage_core::{Contribution, Measured, Quantity, Uncertainty, Unit};
use pilotage_evidence::judge::{COVERAGE_FACTOR, TYPED};
use pilotage_plan::sources::STATED;

/// What stands between a value and its uncertainty.
const PLUS_MINUS: [&str; 3] = ["±", "+/-", "+-"];

/// Reads it; else what was expected. A bare number is taken in the unit that was asked for.
pub(crate) fn value(answer: &str, unit: &str, stated: Option<Quantity>) -> Result<Measured, String> {
    let expected = || format!("a value in {unit}, e.g. `12.5 {unit}` or `12.5 {unit} ± 0.2 {unit}`");
    let asked = Unit::find(unit).ok_or_else(expected)?;
    let between = PLUS_MINUS.iter().find_map(|sign| answer.split_once(sign));
    let (written, own) = between.map_or((answer, None), |(value, own)| (value, Some(own)));
    let (quantity, as_written) = read(written, asked).ok_or_else(expected)?;
    let own = match own {
        Some(own) => Some(difference(own, as_written).ok_or_else(expected)?),
        None => None,
    };
    let term = match own.or(stated.map(Quantity::si)) {
        Some(expanded) => Contribution::normal(STATED, expanded / COVERAGE_FACTOR),
        None => Contribution::rectangular(TYPED, half_a_digit(written, as_written)),
    };
    Ok(Measured {
        value: quantity,
        uncertainty: Uncertainty::Known(vec![term]),
    })
}

/// A value and the unit that it was written in.
fn read(written: &str, asked: Unit) -> Option<(Quantity, Unit)> {
    let written = written.trim();
    let (quantity, unit) = match written.parse::<f64>() {
        Ok(number) => (Quantity::of(number, asked).ok()?, asked),
        Err(_) => Quantity::parse_with_unit(written).ok()?,
    };
    (quantity.dimension() == asked.dimension).then_some((quantity, unit))
}

/// Half the width of an interval: in the unit of the value where it has none of its own, and without its zero point.
fn difference(written: &str, of_value: Unit) -> Option<f64> {
    let written = written.trim();
    let si = if let Ok(number) = written.parse::<f64>() {
        width(number, of_value)
    } else {
        let (quantity, unit) = Quantity::parse_with_unit(written).ok()?;
        if quantity.dimension() != of_value.dimension {
            return None;
        }
        quantity.si() - unit.to_si(0.0)
    };
    (si.is_finite() && si > 0.0).then_some(si)
}

fn width(number: f64, unit: Unit) -> f64 {
    unit.to_si(number) - unit.to_si(0.0)
}

/// Half a step of the last digit of a number that was read already.
fn half_a_digit(written: &str, unit: Unit) -> f64 {
    let digits = |text: &str| text.bytes().take_while(u8::is_ascii_digit).count();
    let number = written.trim().trim_start_matches(['-', '+', '\u{2212}']);
    let behind = &number[digits(number)..];
    let fraction = behind.strip_prefix('.');
    let decimals = fraction.map_or(0, digits);
    let behind = fraction.map_or(behind, |fraction| &fraction[decimals..]);
    let exponent = behind.strip_prefix(['e', 'E']).map_or(0, |exponent| {
        let end = digits(exponent.trim_start_matches(['-', '+'])) + usize::from(exponent.starts_with(['-', '+']));
        exponent[..end].parse::<i32>().unwrap_or(0)
    });
    let decimals = i32::try_from(decimals).unwrap_or(0);
    width(10f64.powi(exponent.saturating_sub(decimals)), unit) / 2.0
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests")]
    use super::value;
    use pilotage_core::{Quantity, Uncertainty};
    use pilotage_evidence::judge::TYPED;

    #[test]
    fn a_point_without_decimals_hides_no_exponent_and_nothing_is_known_exactly() {
        for (written, half) in [("5.e3", 500.0), ("5.", 0.5), (".5", 0.05), ("5e3", 500.0)] {
            let found = super::half_a_digit(written, super::Unit::find("A").unwrap());
            assert!((found - half).abs() < 1e-12, "{written}: {found}");
        }
        assert!(value("12.5 A ± 0 A", "A", None).is_err());
    }

    /// Value, source and standard uncertainty, in coherent SI units.
    fn read(answer: &str, unit: &str, stated: Option<&str>) -> (f64, String, f64) {
        let stated = stated.map(|text| Quantity::parse(text).unwrap());
        let measured = value(answer, unit, stated).unwrap();
        let Uncertainty::Known(terms) = measured.uncertainty else {
            panic!("known")
        };
        (measured.value.si(), terms[0].source.clone(), terms[0].standard)
    }

    /// Half a digit, rectangular: a/√3 (JCGM 100, 4.3.7).
    #[test]
    fn without_a_word_the_digits_say_how_exact_it_is() {
        for (answer, unit, si, half) in [
            ("40", "A", 40.0, 0.5),
            ("40 A", "A", 40.0, 0.5),
            ("12.50 A", "A", 12.5, 0.005),
            ("-3.2 mV", "V", -0.0032, 0.000_05),
            ("1.5e3", "Ω", 1500.0, 50.0),
            ("23.4 °C", "°C", 296.55, 0.05),
        ] {
            let (value, source, standard) = read(answer, unit, None);
            assert!((value - si).abs() < 1e-9, "{answer}: {value}");
            assert_eq!(source, TYPED);
            assert!((standard - half / 3f64.sqrt()).abs() < 1e-9, "{answer}: {standard}");
        }
    }

    #[test]
    fn a_stated_uncertainty_counts_and_the_persons_before_the_sequences() {
        for (answer, stated, expanded) in [
            ("40 A", Some("2 A"), 2.0),
            ("40 A ± 1 A", Some("2 A"), 1.0),
            ("40 +- 0.5", None, 0.5),
            ("40 A +/- 100 mA", None, 0.1),
        ] {
            let (value, source, standard) = read(answer, "A", stated);
            assert_eq!((value, source.as_str()), (40.0, "stated with the answer"));
            assert!((standard - expanded / 2.0).abs() < 1e-12, "{answer}: {standard}");
        }
        let (_, _, standard) = read("23 °C ± 1 K", "°C", None);
        assert!((standard - 0.5).abs() < 1e-9);
    }

    #[test]
    fn what_is_no_value_is_refused_with_an_example() {
        for answer in ["", "about forty", "40 V", "40 A ± ", "40 A ± 1 V", "40 A ± -1 A", "NaN"] {
            let expected = value(answer, "A", None).unwrap_err();
            assert!(expected.contains("12.5 A ± 0.2 A"), "{answer}: {expected}");
        }
    }
}
