//! Expressions: what they yield, what they refuse, and how uncertainty goes through them.
#![allow(clippy::unwrap_used, clippy::float_cmp)]

use pilotage_core::expr::{Kind, Value};
use pilotage_core::{Contribution, Datum, Dimension, Expr, Measured, NoValue, Quantity, Uncertainty, uncertainty};
use proptest::prelude::*;

fn constant(text: &str) -> Quantity {
    let expr = Expr::parse(text).unwrap_or_else(|error| panic!("{text}: {error} {error:?}"));
    expr.constant()
        .unwrap_or_else(|| panic!("{text}: {:?}", expr.kind(&|_| None)))
}

fn near(found: f64, wanted: f64, relative: f64) {
    assert!(
        (found - wanted).abs() <= relative * wanted.abs(),
        "found {found}, wanted {wanted}"
    );
}

fn with(text: &str, values: &[(&str, Measured)]) -> Result<Value, NoValue> {
    let find = |name: &str| {
        values
            .iter()
            .find(|(known, _)| *known == name)
            .map(|(_, value)| Ok(value.clone()))
    };
    Expr::parse(text).unwrap().evaluate(&find)
}

fn measured(text: &str, values: &[(&str, Measured)]) -> Datum {
    match with(text, values)? {
        Value::Measured(measured) => Ok(measured),
        Value::Truth(truth) => panic!("{text} is {truth}"),
    }
}

fn amount(text: &str, terms: &[(&str, f64)]) -> Measured {
    let terms = terms.iter().map(|(source, standard)| Contribution {
        source: (*source).to_owned(),
        standard: *standard,
        degrees_of_freedom: None,
    });
    Measured {
        value: Quantity::parse(text).unwrap(),
        uncertainty: Uncertainty::Known(terms.collect()),
    }
}

#[test]
fn answers() {
    for (text, wanted) in [
        ("(12 V - 0.7 V) * 882 Ω / (1 kΩ + 882 Ω)", 11.3 * 882.0 / 1882.0),
        (
            "0.7 V + (12 V - 0.7 V) * 2740 Ω / (1 kΩ + 2740 Ω)",
            8.978_609_625_668_45,
        ),
        ("1 / 2 Ω", 0.5),
        ("2 Ω ^ 2", 4.0),
        ("-2 ^ 2", -4.0),
        ("2 ^ -2", 0.25),
        ("2 - 3 - 4", -5.0),
        ("16 / 4 / 2", 2.0),
        ("2 + 3 * 4", 14.0),
        ("25 % of 32 A", 8.0),
        ("10 A / 50 % of 4 s", 5.0),
        ("75 % of 32 A + 1 A", 25.0),
        ("(35 %) * 230 V", 80.5),
        ("abs(-3 V)", 3.0),
        ("sqrt(4 V ^ 2)", 4.0),
        ("min(3 A, 2 A)", 2.0),
        ("max(3 A, 2000 mA)", 3.0),
        ("exp(ln(5))", 5.0),
        ("diode_drop(5 mA)", 0.70),
        ("25 °C - 20 °C", 5.0),
        ("20 °C + 5 K", 298.15),
        ("--3", 3.0),
        ("2 kΩ · 3 mA", 6.0),
        ("1 m", 1.0),
        ("2 min", 120.0),
    ] {
        near(constant(text).si(), wanted, 1e-12);
    }
    assert_eq!(constant("230 V * 32 A").to_string(), "7.36 kW");
    assert_eq!(constant("6 mA * 2 kohm").to_string(), "12 V");
}

#[test]
fn truths() {
    for (text, wanted) in [
        ("0.1 * 3 == 0.3", true),
        ("0.1 * 3 <= 0.3", true),
        ("0.1 * 3 > 0.3", false),
        ("3 A > 2 A and not 1 V == 2 V", true),
        ("1 > 2 or 2 > 1", true),
        ("1 > 2 and $nothing > 1", false),
        ("0.5 >= 35 %", true),
        ("20 °C < 293.16 K", true),
        ("(3 A > 2 A) or (1 > 2)", true),
        ("not (1 > 2)", true),
    ] {
        assert_eq!(with(text, &[]), Ok(Value::Truth(wanted)), "{text}");
    }
    let yes = amount("1", &[]);
    assert_eq!(
        with("$is_tethered == 1", &[("is_tethered", yes)]),
        Ok(Value::Truth(true))
    );
}

/// IEC 61851-1 Tables A.7 and A.8 as restated in several charge-controller manuals.
#[test]
fn duty_and_current() {
    let rows = [
        (10.0, 6.0),
        (20.0, 12.0),
        (30.0, 18.0),
        (40.0, 24.0),
        (50.0, 30.0),
        (60.0, 36.0),
        (70.0, 42.0),
    ];
    let high = [
        (80.0, 48.0),
        (85.0, 51.0),
        (86.0, 55.0),
        (88.0, 60.0),
        (90.0, 65.0),
        (92.0, 70.0),
        (94.0, 75.0),
    ];
    let ends = [
        (96.0, 80.0),
        (96.5, 80.0),
        (97.0, 80.0),
        (8.0, 6.0),
        (9.0, 6.0),
        (89.2, 63.0),
        (16.0, 9.6),
    ];
    for (duty, amps) in rows.iter().chain(&high).chain(&ends) {
        near(constant(&format!("current_for({duty} %)")).si(), *amps, 1e-12);
    }
    for (amps, duty) in [
        (6.0, 10.0),
        (16.0, 26.667),
        (32.0, 53.333),
        (48.0, 80.0),
        (51.0, 85.0),
        (63.0, 89.2),
        (80.0, 96.0),
    ] {
        near(constant(&format!("duty_for({amps} A)")).si(), duty / 100.0, 2e-5);
    }
    near(constant("duty_for(100 A)").si(), 0.96, 1e-15);
    near(constant("duty_for(52 A)").si(), 0.85, 1e-15);
    for none in [
        "duty_for(5.9 A)",
        "current_for(2 %)",
        "current_for(5 %)",
        "current_for(7.5 %)",
        "current_for(99 %)",
    ] {
        assert!(matches!(measured(none, &[]), Err(NoValue::Missing(_))), "{none}");
    }
    // 960 µs high at 1 kHz is 80 A.
    near(constant("current_for(960 µs * 1 kHz)").si(), 80.0, 1e-12);
}

#[test]
fn refusals_have_a_place_and_a_mend() {
    for (text, part, message, mend) in [
        ("3 A 4 A", "4 A", "an operator is missing", "put"),
        ("$a $b", "$b", "an operator is missing", "put"),
        ("2 (3)", "(", "an operator is missing", "put"),
        ("2 min(1, 2)", "min", "an operator is missing", "put"),
        ("5 Vlt", "Vlt", "expected a unit", ""),
        ("5 volts", "volts", "expected a unit", "did you mean `V`?"),
        ("$x V", "V", "the unit `V` stands only", "write `1 V`"),
        ("V + 1 V", "V", "the unit `V` stands only", "write `1 V`"),
        ("sqr(4)", "sqr", "there is no function `sqr`", "did you mean `sqrt`?"),
        ("duty(4)", "duty", "there is no function `duty`", "there are"),
        (
            "rated * 2",
            "rated",
            "there is no function `rated`",
            "a value of that name is written `$rated`",
        ),
        ("min(3)", "min(3)", "min takes 2 values, found 1", ""),
        ("abs(0,7)", "abs(0,7)", "abs takes 1 value, found 2", "a decimal point"),
        ("1,5 + 2", ",", "a comma stands only", "a decimal point"),
        ("(1 + 2", "(", "this `(` is never closed", "add"),
        ("1 + 2)", ")", "this `)` has no `(`", ""),
        ("1 < 2 < 3", "<", "comparisons cannot be chained", "write `$a"),
        ("$x = 3", "=", "`=` has no meaning here", "write a comparison as `==`"),
        ("$x && $y", "&&", "`&&` has no meaning here", "write `and`"),
        ("2 ** 3", "**", "`**` has no meaning here", "write a power as `^`"),
        (
            "2 ^ 0.5",
            "0.5",
            "expected a whole number",
            "write `$x ^ 2`; a root is `sqrt($x)`",
        ),
        ("2 ^ 2 V", "2 V", "expected a whole number", "write"),
        ("$x * 5 %", "5 %", "a bare percentage beside `*`", "write `5 % of $x`"),
        (
            "100 % - $x",
            "100 %",
            "a bare percentage beside `-`",
            "write `5 % of $x`",
        ),
        ("3 V of $x", "3 V", "`of` stands only behind", "write `25 % of $x`"),
        ("$p of $x", "of", "`of` stands only behind", "write `25 % of $x`"),
        (
            "20 °C + 5 °C",
            "20 °C + 5 °C",
            "two temperatures in °C cannot be added",
            "write the difference in K",
        ),
        (
            "2 * 20 °C",
            "20 °C",
            "a temperature in °C cannot be multiplied",
            "write a difference in K",
        ),
        (
            "5 K - 20 °C",
            "5 K - 20 °C",
            "a temperature in °C cannot be subtracted",
            "write the temperature first",
        ),
        (
            "-(20 °C)",
            "(20 °C)",
            "a temperature in °C cannot have its sign",
            "write a difference",
        ),
        (
            "abs(20 °C)",
            "20 °C",
            "a temperature in °C cannot be an argument",
            "write a difference",
        ),
        (
            "5 % of 20 °C",
            "20 °C",
            "a temperature in °C cannot be divided",
            "write a difference",
        ),
        ("sqrt 4", "sqrt", "expected `(` after the function", "write `sqrt(…)`"),
        ("$ x", "$", "expected a name", "write it as"),
        ("1 +", "", "expected a value at the end", ""),
        ("", "", "expected a value, found nothing", ""),
        ("1 + ;", ";", "`;` has no meaning", ""),
        ("1 + \u{7}", "\u{7}", "`\\u{7}` has no meaning", ""),
        (
            ".5 + 1",
            ".",
            "`.` has no meaning here",
            "a point stands between digits",
        ),
        ("1e999 V", "1e999 V", "1e999 is too large", ""),
    ] {
        let error = Expr::parse(text).expect_err(text);
        assert_eq!(&text[error.at.clone()], part, "{text}: {error}");
        assert!(error.message.starts_with(message), "{text}: {}", error.message);
        assert!(error.mend.unwrap_or_default().starts_with(mend), "{text}");
    }
}

#[test]
fn mixed_dimensions_are_refused_in_words() {
    let kinds = |name: &str| match name {
        "v" => Some(Kind::Quantity(Dimension::VOLTAGE)),
        "i" => Some(Kind::Quantity(Dimension::CURRENT)),
        "ok" => Some(Kind::Truth),
        _ => None,
    };
    let kind = |text: &str| Expr::parse(text).unwrap().kind(&kinds);
    for (text, message) in [
        ("$v + $i", "cannot add a current (A) to a voltage (V)"),
        ("5 V - 2 A", "cannot subtract a current (A) from a voltage (V)"),
        ("$v < 3", "cannot compare a voltage (V) with a pure number"),
        ("sqrt($v)", "a voltage (V) has no square root"),
        ("ln($v)", "ln takes a pure number, found a voltage (V)"),
        ("duty_for($v)", "duty_for takes a current (A), found a voltage (V)"),
        (
            "current_for($i)",
            "current_for takes a pure number, found a current (A)",
        ),
        (
            "$v and $ok",
            "expected a condition (true or false), found a voltage (V)",
        ),
        (
            "($v > 3 V) + 1",
            "expected a quantity, found a condition (true or false)",
        ),
        ("$x + 1", "there is no value named `$x` here"),
        ("min($v, $i)", "cannot compare a voltage (V) with a current (A)"),
        ("5 V + 20 °C", "cannot add a temperature (K) to a voltage (V)"),
        ("($v^16)^16", "the powers of the units leave every reasonable range"),
    ] {
        assert_eq!(kind(text).expect_err(text).message, message, "{text}");
    }
    assert_eq!(kind("$v / $i"), Ok(Kind::Quantity(Dimension::RESISTANCE)));
    assert_eq!(kind("$ok and $v > 3 V"), Ok(Kind::Truth));
    assert_eq!(kind("current_for(20 %)"), Ok(Kind::Quantity(Dimension::CURRENT)));
}

#[test]
fn unchecked_nonsense_still_gives_no_number() {
    let v = [("v", amount("1 V", &[])), ("i", amount("1 A", &[]))];
    assert!(matches!(with("$v + $i", &v), Err(NoValue::Missing(_))));
    assert!(matches!(with("$v < $i", &v), Err(NoValue::Missing(_))));
    assert!(matches!(with("($v > 1 V) + 1", &v), Err(NoValue::Missing(_))));
}

#[test]
fn what_has_no_value_says_why() {
    for (text, why) in [
        ("1 V / 0 A", NoValue::DivisionByZero),
        ("0 ^ -1", NoValue::DivisionByZero),
        ("1e300 * 1e300", NoValue::Overflow),
        ("exp(1000)", NoValue::Overflow),
        ("ln(0)", NoValue::NotANumber),
        ("sqrt(-1)", NoValue::NotANumber),
        ("diode_drop(0 A)", NoValue::NotANumber),
        ("$gone + 1", NoValue::Missing("$gone has no value".to_owned())),
        ("1 > 2 or 1 / 0 > 1", NoValue::DivisionByZero),
    ] {
        assert_eq!(with(text, &[]), Err(why), "{text}");
    }
    let overload = |_: &str| Some(Err(NoValue::Overload));
    assert_eq!(
        Expr::parse("$x * 0").unwrap().evaluate(&overload),
        Err(NoValue::Overload)
    );
}

#[test]
fn budgets_hold() {
    let nested = |depth: usize| format!("{}1{}", "(".repeat(depth), ")".repeat(depth));
    assert!(Expr::parse(&nested(60)).is_ok());
    assert!(
        Expr::parse(&nested(65))
            .unwrap_err()
            .message
            .starts_with("nested more than 64")
    );
    assert!(Expr::parse(&"-".repeat(4000)).is_err());
    assert!(Expr::parse(&"not ".repeat(1000)).is_err());
    assert!(Expr::parse(&format!("1{}", "+1".repeat(200))).is_ok());
    assert!(Expr::parse(&format!("1{}", "+1".repeat(2000))).is_err());
    assert!(
        Expr::parse(&" ".repeat(5000))
            .unwrap_err()
            .message
            .contains("5000 bytes")
    );
}

#[test]
fn names_and_text_are_kept() {
    let expr = Expr::parse("$drop / $i_now + min($drop, 2) * 1 Ω").unwrap();
    assert_eq!(expr.names().into_iter().collect::<Vec<_>>(), ["drop", "i_now"]);
    assert_eq!(expr.text(), "$drop / $i_now + min($drop, 2) * 1 Ω");
    assert_eq!(Expr::parse("29 mΩ").unwrap().unit_hint().unwrap().symbol, "mΩ");
    assert_eq!(Expr::parse("20 °C + 3 K").unwrap().unit_hint().unwrap().symbol, "°C");
}

#[test]
fn one_source_cancels_and_two_add_as_squares() {
    let a = amount("10 V", &[("gain", 0.10)]);
    let b = amount("8 V", &[("gain", 0.08)]);
    let u = |datum: Datum| uncertainty::standard(&datum.unwrap().uncertainty).unwrap();
    assert!(
        u(measured("$a / $b", &[("a", a.clone()), ("b", b)])) < 1e-15,
        "a common gain falls out of a ratio"
    );
    let c = amount("8 V", &[("other gain", 0.08)]);
    near(
        u(measured("$a / $c", &[("a", a.clone()), ("c", c.clone())])),
        1.25 * 0.01 * 2f64.sqrt(),
        1e-12,
    );
    near(
        u(measured("$a + $c", &[("a", a.clone()), ("c", c)])),
        0.1f64.hypot(0.08),
        1e-12,
    );
    near(u(measured("$a * $a", &[("a", a.clone())])), 2.0, 1e-12);
    near(u(measured("$a ^ 2", &[("a", a.clone())])), 2.0, 1e-12);
    assert!(u(measured("$a - $a", &[("a", a)])) < 1e-15);
}

#[test]
fn unknown_stays_unknown() {
    let unknown = Measured {
        value: Quantity::parse("3 V").unwrap(),
        uncertainty: Uncertainty::Unknown("the driver states no accuracy".to_owned()),
    };
    let known = amount("1 V", &[("meter", 0.1)]);
    for text in [
        "$a + $b",
        "$b * $a",
        "min($b, $a)",
        "max($b, $a)",
        "abs($a)",
        "$a * 0",
        "sqrt($a ^ 2)",
    ] {
        let found = measured(text, &[("a", unknown.clone()), ("b", known.clone())]).unwrap();
        assert_eq!(found.uncertainty, unknown.uncertainty, "{text}");
    }
}

#[test]
fn kinks_do_what_the_documentation_says() {
    let a = amount("3 V", &[("a", 0.1)]);
    let b = amount("3 V", &[("b", 0.3)]);
    let zero = amount("0 V", &[("a", 0.1)]);
    let u =
        |text: &str, values: &[(&str, Measured)]| uncertainty::standard(&measured(text, values).unwrap().uncertainty);
    let pair = [("a", a), ("b", b)];
    assert_eq!(u("min($a, $b)", &pair), Some(0.3), "a tie takes the less certain");
    assert_eq!(u("max($a, $b)", &pair), Some(0.3));
    assert_eq!(u("min($a, 2 V)", &pair), Some(0.0));
    assert_eq!(u("abs($z)", &[("z", zero.clone())]), Some(0.1));
    assert_eq!(
        u("sqrt($z / 1 V)", &[("z", zero)]),
        None,
        "an infinite slope is not zero uncertainty"
    );
    assert_eq!(u("sqrt(0 V ^ 2)", &[]), Some(0.0));
}

fn volts() -> impl Strategy<Value = f64> {
    prop_oneof![-1e6_f64..1e6, -1e-6_f64..1e-6]
}

/// The derivative by central difference, as an independent check of every slope.
fn numeric_slope(text: &str, x: f64, unit: &str) -> f64 {
    let h = 1e-5 * x.abs().max(1e-6);
    let at = |x: f64| {
        measured(text, &[("x", amount(&format!("{x:e} {unit}"), &[]))])
            .unwrap()
            .value
            .si()
    };
    (at(x + h) - at(x - h)) / (2.0 * h)
}

proptest! {
    #[test]
    fn addition_commutes_and_multiplication_distributes(a in volts(), b in volts(), k in -100.0_f64..100.0) {
        let values = [("a", amount(&format!("{a:e} V"), &[("a", 0.1)])), ("b", amount(&format!("{b:e} V"), &[("b", 0.2)])),
            ("k", amount(&format!("{k:e}"), &[]))];
        let found = |text: &str| measured(text, &values).unwrap();
        prop_assert_eq!(found("$a + $b"), found("$b + $a"));
        prop_assert_eq!(found("$a * $b"), found("$b * $a"));
        let (left, right) = (found("$k * ($a + $b)"), found("$k * $a + $k * $b"));
        prop_assert!((left.value.si() - right.value.si()).abs() <= 1e-12 * (k * a).abs().max((k * b).abs()));
        let u = |m: &Measured| uncertainty::standard(&m.uncertainty).unwrap();
        prop_assert!((u(&left) - u(&right)).abs() <= 1e-12 * u(&left));
    }

    #[test]
    fn slopes_agree_with_differences(x in 7.0_f64..50.0) {
        for (text, unit) in [
            ("$x ^ 3", "V"), ("$x ^ -2", "V"), ("sqrt($x)", ""), ("ln($x)", ""), ("exp($x / 10)", ""), ("5 V / $x", "A"),
            ("duty_for($x)", "A"), ("diode_drop($x)", "A"), ("-$x", "V"), ("abs($x)", "V"), ("current_for($x / 60)", ""),
            ("25 % of $x", "W"), ("max($x, 1 V) * $x", "V"),
        ] {
            let carried = measured(text, &[("x", amount(&format!("{x:e} {unit}"), &[("x", 1.0)]))]).unwrap();
            let Uncertainty::Known(terms) = carried.uncertainty else { panic!() };
            let slope = numeric_slope(text, x, unit);
            prop_assert!((terms[0].standard - slope).abs() <= 1e-6 * slope.abs(), "{} {} {}", text, terms[0].standard, slope);
        }
    }

    #[test]
    fn any_text_parses_or_is_refused_with_a_place(text in "[-+*/^()<>=$ 0-9a-z%.,VAΩ°C]{0,40}") {
        match Expr::parse(&text) {
            Ok(expr) => { let _ = expr.kind(&|_| None); let _ = expr.evaluate(&|_| None); }
            Err(error) => prop_assert!(text.get(error.at.clone()).is_some(), "{:?} in {:?}", error.at, text),
        }
    }
}

/// ±0.15 V, rectangular (0.55 to 0.85 V), is one source: it cancels in the difference of two drops of one diode.
#[test]
fn a_diode_carries_its_spread() {
    let standard = |text: &str| match with(text, &[]).unwrap() {
        Value::Measured(measured) => measured.standard().unwrap(),
        Value::Truth(_) => panic!("{text} is no amount"),
    };
    assert!((standard("diode_drop(3 mA)") - 0.15 / 3f64.sqrt()).abs() < 1e-12);
    assert!(standard("diode_drop(3 mA) - diode_drop(5 mA)") < 1e-12);
}
