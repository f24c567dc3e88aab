//! Budgets and distributions against published examples.
#![allow(clippy::unwrap_used, clippy::float_cmp)]

use pilotage_core::uncertainty::{
    self, Budget, arcsine, covariance, effective_dof, propagate, rectangular, repeated, standard,
};
use pilotage_core::{Contribution, Dimension, Expr, Measured, Quantity, Uncertainty, expr::Value, normal, student};
use proptest::prelude::*;

fn near(found: f64, wanted: f64, absolute: f64) {
    assert!(
        (found - wanted).abs() <= absolute,
        "found {found}, wanted {wanted} ± {absolute}"
    );
}

fn amount(si: f64, dimension: Dimension, terms: Vec<Contribution>) -> Measured {
    Measured {
        value: Quantity::new(si, dimension).unwrap(),
        uncertainty: Uncertainty::Known(terms),
    }
}

fn terms(measured: &Measured) -> Vec<Contribution> {
    match &measured.uncertainty {
        Uncertainty::Known(terms) => terms.clone(),
        Uncertainty::Unknown(why) => panic!("{why}"),
    }
}

/// JCGM 100, H.1: end-gauge calibration, lengths in nm.
fn end_gauge() -> Measured {
    const PER_K: Dimension = Dimension::from_exponents([0, 0, 0, 0, -1, 0, 0]);
    let one = |source: &str, standard: f64| vec![Contribution::normal(source, standard)];
    let inputs = [
        (
            "ls",
            amount(
                50_000_623.0,
                Dimension::LENGTH,
                vec![Contribution::normal("standard", 25.0).with_dof(18.0)],
            ),
        ),
        (
            "d",
            amount(
                215.0,
                Dimension::LENGTH,
                vec![
                    Contribution::normal("repeated comparisons", 5.8).with_dof(24.0),
                    Contribution::normal("comparator, random", 3.9).with_dof(5.0),
                    Contribution::normal("comparator, systematic", 6.7).with_dof(8.0),
                ],
            ),
        ),
        (
            "as",
            amount(11.5e-6, PER_K, one("expansion of the standard", rectangular(2e-6))),
        ),
        (
            "da",
            amount(
                0.0,
                PER_K,
                vec![Contribution::rectangular("difference of expansion", 1e-6).with_dof(50.0)],
            ),
        ),
        (
            "dt",
            amount(
                0.0,
                Dimension::TEMPERATURE,
                vec![Contribution::rectangular("difference of temperature", 0.05).with_dof(2.0)],
            ),
        ),
        (
            "mean",
            amount(-0.1, Dimension::TEMPERATURE, one("mean temperature", 0.2)),
        ),
        (
            "swing",
            amount(0.0, Dimension::TEMPERATURE, one("cycling of the room", arcsine(0.5))),
        ),
    ];
    let find = |name: &str| {
        inputs
            .iter()
            .find(|(known, _)| *known == name)
            .map(|(_, value)| Ok(value.clone()))
    };
    let formula = Expr::parse("$ls + $d - $ls * ($da * ($mean + $swing) + $as * $dt)").unwrap();
    match formula.evaluate(&find).unwrap() {
        Value::Measured(measured) => measured,
        Value::Truth(_) => panic!("a length"),
    }
}

#[test]
fn gum_h1_length_and_combined_uncertainty() {
    let length = end_gauge();
    near(length.value.si(), 50_000_838.0, 1e-6);
    near(length.standard().unwrap(), 31.663_879_111, 1e-8); // printed: 32 nm
    near(effective_dof(&terms(&length)).unwrap(), 16.751_855_738, 1e-8); // printed: 16, truncated
    let parts = terms(&length);
    let of = |source: &str| parts.iter().find(|term| term.source == source).unwrap().standard.abs();
    near(of("difference of temperature"), 16.599, 5e-4);
    near(of("difference of expansion"), 2.887, 5e-4);
    near(of("expansion of the standard"), 0.0, 0.0);
    near(of("mean temperature"), 0.0, 0.0);
}

#[test]
fn gum_h1_comparator() {
    let d: Vec<Contribution> = terms(&end_gauge())
        .into_iter()
        .filter(|term| term.source.contains("compar"))
        .collect();
    near(standard(&Uncertainty::Known(d.clone())).unwrap(), 9.682, 5e-4); // printed: 9.7 nm
    near(effective_dof(&d).unwrap(), 25.45, 5e-3); // printed with rounded inputs: 25.6
}

#[test]
fn gum_h1_expanded_at_99_percent() {
    let factor = student::factor(0.99, Some(16.0)).unwrap();
    near(factor, 2.920_781_622_4, 1e-9); // printed: 2.92
    near((factor * 32.0).round(), 93.0, 0.0); // printed: 93 nm, from the rounded 32 nm
}

#[test]
fn gum_h1_second_order_terms() {
    let first = end_gauge().standard().unwrap();
    near(first.hypot(11.7).hypot(1.7), 33.80, 5e-3); // printed: 34 nm
}

/// JCGM 100, H.2: resistance and reactance from five sets of readings. One source a set makes the correlations.
#[test]
fn gum_h2_resistance_reactance_impedance() {
    let volts = [5.007, 4.994, 5.005, 4.990, 4.999];
    let amps = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3];
    let angles = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433];
    let mean = |values: &[f64; 5]| values.iter().sum::<f64>() / 5.0;
    let of_sets = |values: &[f64; 5]| {
        let mean = mean(values);
        let term =
            |(set, value): (usize, &f64)| Contribution::normal(format!("set {set}"), (value - mean) / 20f64.sqrt());
        Uncertainty::Known(values.iter().enumerate().map(term).collect())
    };
    let (v, i, a) = (mean(&volts), mean(&amps), mean(&angles));
    let (u_v, u_i, u_a) = (of_sets(&volts), of_sets(&amps), of_sets(&angles));
    let (z, cos, sin) = (v / i, a.cos(), a.sin());
    let known = |uncertainty: &Uncertainty| match uncertainty {
        Uncertainty::Known(terms) => terms.clone(),
        Uncertainty::Unknown(why) => panic!("{why}"),
    };
    let correlation = |one: &Uncertainty, other: &Uncertainty| {
        covariance(&known(one), &known(other)) / standard(one).unwrap() / standard(other).unwrap()
    };
    near(correlation(&u_v, &u_i), -0.3553, 5e-5); // printed: −0.36
    near(correlation(&u_v, &u_a), 0.8576, 5e-5); // printed: 0.86
    near(correlation(&u_i, &u_a), -0.6451, 5e-5); // printed: −0.65
    let resistance = propagate(&[(cos / i, &u_v), (-z * cos / i, &u_i), (-z * sin, &u_a)]);
    let reactance = propagate(&[(sin / i, &u_v), (-z * sin / i, &u_i), (z * cos, &u_a)]);
    let impedance = propagate(&[(1.0 / i, &u_v), (-z / i, &u_i)]);
    near(z * cos, 127.732, 5e-4);
    near(z * sin, 219.847, 5e-4);
    near(z, 254.260, 5e-4);
    near(standard(&resistance).unwrap(), 0.071_071_407, 1e-8); // printed: 0.071
    near(standard(&reactance).unwrap(), 0.295_58, 5e-6); // printed: 0.295
    near(standard(&impedance).unwrap(), 0.236_34, 5e-6); // printed: 0.236
    near(correlation(&resistance, &reactance), -0.588, 5e-4); // printed: −0.59
    near(correlation(&resistance, &impedance), -0.485, 5e-4); // printed: −0.49
    near(correlation(&reactance, &impedance), 0.9925, 5e-5); // printed: 0.99
}

/// The same example through an expression: the impedance is a quotient of two correlated means.
#[test]
fn gum_h2_impedance_through_an_expression() {
    let set = |deviations: [f64; 5]| {
        let term =
            |(set, deviation): (usize, f64)| Contribution::normal(format!("set {set}"), deviation / 20f64.sqrt());
        deviations.into_iter().enumerate().map(term).collect()
    };
    let v = amount(4.999, Dimension::VOLTAGE, set([0.008, -0.005, 0.006, -0.009, 0.0]));
    let i = amount(0.019_661, Dimension::CURRENT, set([2e-6, -22e-6, -21e-6, 24e-6, 17e-6]));
    let find = |name: &str| Some(Ok(if name == "v" { v.clone() } else { i.clone() }));
    let Value::Measured(z) = Expr::parse("$v / $i").unwrap().evaluate(&find).unwrap() else {
        panic!("a resistance")
    };
    near(z.value.si(), 254.260, 5e-4);
    near(z.standard().unwrap(), 0.236_34, 5e-6);
}

/// E15 and E16: worked examples of a course on the formula of Welch and Satterthwaite.
#[test]
fn effective_degrees_of_freedom() {
    let two = [
        Contribution::normal("a", 0.57).with_dof(9.0),
        Contribution::normal("b", 0.25),
    ];
    near(effective_dof(&two).unwrap(), 12.80, 5e-3);
    assert_eq!(effective_dof(&two[1..]), None, "infinitely many");

    let (x1, x2, y) = (0.1820, 0.1823, 0.6978);
    let of = |source: &str, u: f64, dof: f64| Uncertainty::Known(vec![Contribution::normal(source, u).with_dof(dof)]);
    let (u1, u2, u3) = (of("x1", 0.00093, 9.0), of("x2", 0.00058, 19.0), of("y", 0.0026, 19.0));
    let result = propagate(&[(y / x2, &u1), (-x1 * y / (x2 * x2), &u2), (x1 / x2, &u3)]);
    near(x1 / x2 * y, 0.6967, 5e-5);
    near(standard(&result).unwrap(), 0.004_932, 5e-7);
    let Uncertainty::Known(terms) = &result else { panic!() };
    near(effective_dof(terms).unwrap(), 27.51, 5e-3);
    near(
        student::factor(0.95, Some(27.51)).unwrap() * standard(&result).unwrap(),
        0.010_11,
        5e-6,
    );
}

/// JCGM 100, Table G.2.
#[test]
fn t_factors() {
    for (percent, dof, printed) in [
        (68.27, Some(1.0), 1.84),
        (95.0, Some(1.0), 12.71),
        (99.73, Some(5.0), 5.51),
        (95.0, Some(10.0), 2.23),
        (95.0, Some(20.0), 2.09),
        (99.0, Some(11.0), 3.11),
        (95.45, None, 2.00),
    ] {
        near(student::factor(percent / 100.0, dof).unwrap(), printed, 5e-3);
    }
    near(student::factor(0.90, Some(20.0)).unwrap(), 1.7247, 5e-5); // the table prints 1.72
    near(student::factor(0.99, Some(2.0)).unwrap(), 9.924_843_2, 1e-6);
    let normal = student::factor(0.95, None).unwrap();
    for many in [1e6, 9e6, 1e8, f64::INFINITY] {
        near(student::factor(0.95, Some(many)).unwrap(), normal, 4.0 / many + 1e-9);
    }
    assert_eq!(student::factor(0.99, Some(0.0)), None);
    assert_eq!(student::factor(0.99, Some(f64::NAN)), None);
    assert_eq!(student::factor(1.0, None), None);
}

/// Closed form for one and two degrees of freedom: tan(πp/2), and p·√(2/(1 − p²)).
#[test]
fn t_factors_in_closed_form() {
    for p in [0.01, 0.3, 0.5, 0.9, 0.95, 0.9999] {
        let one = (std::f64::consts::FRAC_PI_2 * p).tan();
        near(student::factor(p, Some(1.0)).unwrap() / one, 1.0, 1e-9);
        let two = p * (2.0 / (1.0 - p * p)).sqrt();
        near(student::factor(p, Some(2.0)).unwrap() / two, 1.0, 1e-9);
    }
}

/// C15 (ILAC-G8, exact values), E17, E18, E23, C16.
#[test]
fn normal_distribution() {
    near(normal::cumulative(-6.0) / 9.865_876_450_377e-10, 1.0, 1e-9);
    near(1.0 - normal::cumulative(3.0), 0.00135, 5e-6);
    near(1.0 - normal::cumulative(2.0), 0.02275, 5e-7);
    near(1.0 - normal::cumulative(1.66), 0.0485, 5e-5);
    near(normal::cumulative(1.4), 0.91924, 5e-6);
    near(normal::cumulative((509.7 - 490.0) / 8.6), 0.98901, 5e-6);
    near(2.0 * normal::cumulative(-2.5), 0.012_419, 5e-7);
    near(normal::quantile(0.95).unwrap() / 2.0, 0.8224, 5e-5);
    near(normal::quantile(0.975).unwrap() / 2.0, 0.9800, 5e-5);
    near(normal::quantile(0.975).unwrap(), 1.959_963_984_540_054, 1e-13);
    assert_eq!(normal::quantile(0.0), None);
    assert_eq!(normal::quantile(f64::NAN), None);
}

/// C6: 230 V on a 750 V range, 0.06 % of reading + 0.03 % of range.
#[test]
fn accuracy_as_bounds() {
    near(rectangular(0.0006 * 230.0 + 0.0003 * 750.0), 0.2096, 5e-5);
    near(uncertainty::triangular(1.0), 0.408_248, 1e-6);
}

#[test]
fn a_budget_says_which_factor_it_took() {
    let exact = Budget::of(&Uncertainty::Known(vec![Contribution::normal("a", 0.5)])).unwrap();
    assert_eq!((exact.factor, exact.expanded), (2.0, 1.0));
    let few = Budget::of(&Uncertainty::Known(vec![Contribution::normal("a", 0.5).with_dof(4.9)])).unwrap();
    near(few.factor, 2.869, 5e-4); // JCGM 100, Table G.2: 2.87 for 4 degrees of freedom
    assert_eq!(Budget::of(&Uncertainty::Unknown("no data".to_owned())), None);
    assert_eq!(repeated("a", &[1.0]), None);
    let (mean, term) = repeated("a", &[1.0, 2.0, 3.0]).unwrap();
    assert_eq!((mean, term.degrees_of_freedom), (2.0, Some(2.0)));
    near(term.standard, (1.0f64 / 3.0).sqrt(), 1e-15);
}

proptest! {
    #[test]
    fn quantile_inverts_the_integral(z in -37.0_f64..8.0) {
        let back = normal::quantile(normal::cumulative(z)).unwrap();
        // Near 1 a double holds few values of Φ; below 0 it holds them all.
        let tolerance = if z < 0.0 { 1e-11 } else { 1e-15 / (0.5 * (-0.5 * z * z).exp()) + 1e-12 };
        prop_assert!((back - z).abs() <= tolerance, "{} {}", back, z);
    }

    #[test]
    fn merging_keeps_the_combined_uncertainty(a in proptest::collection::vec((0usize..4, -1.0_f64..1.0), 0..12)) {
        let terms: Vec<Contribution> = a.iter().map(|(s, u)| Contribution::normal(format!("source {s}"), *u)).collect();
        let mut sums = [0.0; 4];
        for (source, u) in &a { sums[*source] += u; }
        let wanted = sums.iter().map(|sum| sum * sum).sum::<f64>().sqrt();
        let found = standard(&Uncertainty::Known(terms.clone())).unwrap();
        prop_assert!((found - wanted).abs() <= 1e-12);
        prop_assert_eq!(uncertainty::merged(&uncertainty::merged(&terms)), uncertainty::merged(&terms));
    }
}
