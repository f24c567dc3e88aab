//! Quantities as text: reading, showing, refusing, and reading back.
#![allow(clippy::unwrap_used, clippy::float_cmp)]

use pilotage_core::{Contribution, Dimension, Measured, Quantity, Uncertainty, Unit, format};
use proptest::prelude::*;

fn si(text: &str) -> f64 {
    Quantity::parse(text).unwrap().si()
}

#[test]
fn a_prefix_costs_no_digit() {
    assert_eq!(si("10 µF"), 1e-5);
    assert_eq!(si("10 μF"), 1e-5, "Greek mu U+03BC");
    assert_eq!(si("10 uF"), 1e-5);
    assert_eq!(si("2.4 nF"), 2.4e-9);
    assert_eq!(si("0.3 mΩ"), 3e-4);
    assert_eq!(si("29 m\u{2126}"), 0.029, "Ohm sign U+2126");
    assert_eq!(si("1.5 kohm"), 1500.0);
    assert_eq!(si("35 %"), 0.35);
    assert_eq!(si("1.5e-3 V"), 0.0015);
    assert_eq!(si("6 mm2"), 6e-6);
    assert_eq!(si("6 mm²"), 6e-6);
    assert_eq!(si("12 h"), 43200.0);
    assert_eq!(si("-12 V"), -12.0);
    assert_eq!(si("\u{2212}12V"), -12.0);
    assert_eq!(si("30"), 30.0);
    assert_eq!(si("50 ppm"), 5e-5);
    assert_eq!(si("90 °C"), 363.15);
    assert_eq!(si("-5 degC"), 268.15);
    assert_eq!(si("2 kWh"), 7.2e6);
    assert_eq!(si("3 A²s"), 3.0);
}

#[test]
fn case_is_that_of_the_si() {
    assert_eq!(si("1 mV"), 1e-3);
    assert_eq!(si("1 MV"), 1e6);
    assert_eq!(Quantity::parse("1 s").unwrap().dimension(), Dimension::TIME);
    assert!(Quantity::parse("1 S").is_err());
    assert!(Quantity::parse("1 MHZ").is_err(), "an SCPI suffix is no unit of a file");
}

#[test]
fn refusals_say_where_and_how_to_mend() {
    for (text, at, mend) in [
        ("5 Volts", 2..7, "did you mean `V`?"),
        ("12 KHz", 3..6, "did you mean `kHz`?"),
        ("12,6 V", 2..6, "write the decimal point as a point: 12.6 V"),
        ("7 kHzz", 2..6, "did you mean `kHz`?"),
        (".5 V", 0..4, "write the 0 before the point, as in 0.5 V"),
        ("twelve", 0..6, "write a number and a unit, as in 12.6 V"),
    ] {
        let error = Quantity::parse(text).unwrap_err();
        assert_eq!(error.at, at, "{text}");
        let found = error.mend.unwrap_or_default();
        assert!(found.starts_with(mend), "{text}: {found}");
    }
    assert!(Quantity::parse("3 1").is_err(), "two numbers");
    assert!(Quantity::parse("1e999 V").is_err(), "infinite");
    assert!(Quantity::parse("nan V").is_err());
    assert!(Quantity::parse("").is_err());
    assert!(Quantity::parse("5 V V").is_err());
}

#[test]
fn shown_with_fitting_prefix_and_no_noise() {
    for (text, shown) in [
        ("5.28949 V", "5.289 V"),
        ("0.029 Ω", "29 mΩ"),
        ("1500 Ω", "1.5 kΩ"),
        ("999.96 mV", "1 V"),
        ("0 V", "0 V"),
        ("-0.7 V", "-700 mV"),
        ("90 s", "90 s"),
        ("30 min", "30 min"),
        ("12 h", "12 h"),
        ("6 mm2", "6 mm²"),
        ("1e-5 F", "10 µF"),
        ("0.5333333", "0.5333"),
        ("7.36 kW", "7.36 kW"),
        ("1e-15 V", "0.001 pV"),
    ] {
        assert_eq!(Quantity::parse(text).unwrap().to_string(), shown, "{text}");
    }
    let product = Quantity::new(2.0, Dimension::from_exponents([2, 1, -2, -1, 0, 0, 0])).unwrap();
    assert_eq!(product.to_string(), "2 m²·kg·s⁻²·A⁻¹");
}

#[test]
fn shown_in_the_unit_asked_for() {
    let unit = |symbol| Unit::find(symbol).unwrap();
    let shown = |text: &str, symbol| Quantity::parse(text).unwrap().display_in(unit(symbol));
    assert_eq!(shown("0.1 V", "mV"), "100 mV");
    assert_eq!(shown("23 °C", "°C"), "23 °C");
    assert_eq!(shown("0.1 °C", "°C"), "0.1 °C");
    assert_eq!(shown("0.35", "%"), "35 %");
    assert_eq!(shown("1000.12 Hz", "Hz"), "1000.1 Hz");
    assert_eq!(shown("123456 Ω", "Ω"), "123456 Ω");
    assert_eq!(shown("5 A", "V"), "5 A", "never a wrong unit");
    assert_eq!(shown("90 min", "h"), "1.5 h");
}

#[test]
fn uncertainty_rounds_to_two_digits_and_the_value_with_it() {
    // JCGM 100, 7.2.2 and 7.2.6: the example of the 100 g mass, 100.021 47 g with u = 0.35 mg.
    let gram = Unit::find("g").unwrap();
    let mass = Quantity::parse("100.02147 g").unwrap();
    let rounded = format::with_uncertainty(mass, 0.000_79e-3, gram);
    assert_eq!(rounded.to_string(), "(100.02147 ± 0.00079) g");
    let volt = Unit::find("V").unwrap();
    let level = Quantity::parse("5.98 V").unwrap();
    assert_eq!(
        format::with_uncertainty(level, 0.0234, volt).to_string(),
        "(5.980 ± 0.023) V"
    );
    assert_eq!(
        format::with_uncertainty(level, 0.0996, volt).to_string(),
        "(5.98 ± 0.10) V"
    );
    assert_eq!(format::with_uncertainty(level, 123.0, volt).to_string(), "(10 ± 120) V");
    assert_eq!(format::with_uncertainty(level, 0.0, volt).to_string(), "5.98 V");
    let warm = Quantity::parse("23.46 °C").unwrap();
    assert_eq!(
        format::with_uncertainty(warm, 0.5, Unit::CELSIUS).to_string(),
        "(23.46 ± 0.50) °C"
    );
}

#[test]
fn a_measured_value_says_its_uncertainty_or_that_it_is_unknown() {
    let value = Quantity::parse("5.98 V").unwrap();
    let known = Uncertainty::Known(vec![Contribution::normal("gain", 0.0117)]);
    let measured = Measured {
        value,
        uncertainty: known,
    };
    assert_eq!(format::measured(&measured, None), "(5.980 ± 0.023) V");
    assert_eq!(format::measured(&measured, Unit::find("mV")), "(5980 ± 23) mV");
    let unknown = Measured {
        value,
        uncertainty: Uncertainty::Unknown("typed by hand".to_owned()),
    };
    assert_eq!(format::measured(&unknown, None), "5.98 V, uncertainty unknown");
    assert_eq!(format::measured(&Measured::exact(value), None), "5.98 V");
    let odd = Quantity::new(2.0, Dimension::from_exponents([2, 1, -2, -1, 0, 0, 0])).unwrap();
    assert_eq!(format::measured(&Measured::exact(odd), None), "2 m²·kg·s⁻²·A⁻¹");
}

fn any_unit() -> impl Strategy<Value = Unit> {
    let units: Vec<Unit> = Unit::all().collect();
    proptest::sample::select(units)
}

proptest! {
    #[test]
    fn what_is_shown_exactly_reads_back_the_same(number in -1e9_f64..1e9, unit in any_unit()) {
        let quantity = Quantity::of(number, unit).unwrap();
        let text = format::exact(quantity, unit).unwrap();
        prop_assert_eq!(Quantity::parse(&text).unwrap(), quantity, "{}", text);
    }

    #[test]
    fn every_double_survives(bits in any::<u64>(), unit in any_unit()) {
        let number = f64::from_bits(bits);
        prop_assume!(number.is_finite());
        let quantity = Quantity::new(number, unit.dimension).unwrap();
        let text = format::exact(quantity, unit).unwrap();
        prop_assert_eq!(Quantity::parse(&text).unwrap(), quantity, "{}", text);
    }

    #[test]
    fn a_shown_value_is_near_the_value(number in 1e-6_f64..1e9, unit in any_unit()) {
        let quantity = Quantity::of(number, unit).unwrap();
        let read = Quantity::parse(&quantity.to_string()).unwrap();
        prop_assert_eq!(read.dimension(), quantity.dimension());
        prop_assert!((read.si() - quantity.si()).abs() <= 6e-4 * quantity.si().abs(), "{}", quantity);
    }

    #[test]
    fn any_text_is_read_or_refused_with_a_place(text in "\\PC{0,20}") {
        match Quantity::parse(&text) {
            Ok(quantity) => prop_assert!(quantity.si().is_finite()),
            Err(error) => prop_assert!(text.get(error.at.clone()).is_some(), "{:?} in {:?}", error.at, text),
        }
    }
}

#[test]
fn symbols_are_unique_and_found() {
    for unit in Unit::all() {
        assert_eq!(Unit::find(unit.symbol), Some(unit), "{}", unit.symbol);
    }
}
