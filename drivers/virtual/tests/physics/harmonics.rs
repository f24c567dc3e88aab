//! The shape of the supply's voltage, and what its inductance does.

use crate::rig::Rig;
use pilotage_virtual::physics::{Node, Pair};

/// Amplitude of an order of 50 Hz in samples over whole periods.
fn amplitude(values: &[f64], interval_s: f64, order: f64) -> f64 {
    let part = |of: fn(f64) -> f64| {
        let turned = values.iter().enumerate();
        turned
            .map(|(k, v)| v * of(2.0 * std::f64::consts::PI * 50.0 * order * k as f64 * interval_s))
            .sum::<f64>()
            * 2.0
            / values.len() as f64
    };
    f64::hypot(part(f64::sin), part(f64::cos))
}

#[test]
fn the_rms_is_what_is_set_whatever_the_shape() {
    for shape in [
        vec![],
        vec![("supply_h3", 0.1), ("supply_h5", -0.06), ("supply_h7", 0.05)],
        vec![("supply_h3", 0.0), ("supply_h5", 0.0), ("supply_h7", 0.0)],
    ] {
        let mut rig = Rig::closed(&shape);
        // What the item's 4 W take over 0.2 Ω is 3 mV.
        assert!((rig.rms(Node::In(Pair::LN)) - 230.0).abs() < 0.01, "{shape:?}");
    }
}

#[test]
fn each_harmonic_has_its_ratio_to_the_fundamental() {
    let mut rig = Rig::closed(&[("supply_h3", 0.05), ("supply_h5", -0.03), ("supply_h7", 0.02)]);
    let values = rig.past(Node::Out(Pair::LN), 0.2, 5e-5);
    let fundamental = amplitude(&values, 5e-5, 1.0);
    for (order, ratio) in [(2.0, 0.0), (3.0, 0.05), (5.0, 0.03), (7.0, 0.02), (9.0, 0.0)] {
        let found = amplitude(&values, 5e-5, order) / fundamental;
        assert!((found - ratio).abs() < 1e-4, "order {order}: {found}");
    }
}

#[test]
fn the_healthy_supply_is_a_little_flat_at_its_top() {
    let mut rig = Rig::closed(&[]);
    let values = rig.past(Node::Out(Pair::LN), 0.2, 1e-5);
    let peak = values.iter().copied().fold(0.0, f64::max);
    // The orders 3, 5 and 7 take 0.4 %, 0.3 % and 0.1 % from the peak of the fundamental.
    let crest = peak / rig.rms(Node::Out(Pair::LN));
    assert!((crest - 2.0_f64.sqrt() * 0.992).abs() < 1e-3, "{crest}");
}

#[test]
fn stray_capacitance_lets_harmonics_through_better() {
    let mut rig = Rig::booted(&[("supply_h3", 0.1)]);
    let third = |values: &[f64]| amplitude(values, 5e-5, 3.0) / amplitude(values, 5e-5, 1.0);
    let input = third(&rig.past(Node::In(Pair::LPe), 0.2, 5e-5));
    let ghost = third(&rig.past(Node::Out(Pair::LPe), 0.2, 5e-5));
    assert!((input - 0.1).abs() < 1e-3);
    assert!(ghost > 1.2 * input, "{ghost} {input}");
}

#[test]
fn a_load_draws_a_sine_through_resistance_and_inductance_of_the_source() {
    let mut rig = Rig::closed(&[
        ("l_source", 2e-3),
        ("supply_h3", 0.0),
        ("supply_h5", 0.0),
        ("supply_h7", 0.0),
    ]);
    rig.draw(32.0);
    rig.wait(0.5);
    // |230 V − 32 A·(0.2 + j·0.6283) Ω|
    let expected = f64::hypot(230.0 - 6.4, 32.0 * 0.628_32);
    let found = rig.rms(Node::In(Pair::LN));
    assert!((found - expected).abs() < 0.02, "{found} {expected}");
    let current = rig.past(Node::OutCurrent, 0.2, 5e-5);
    assert!(amplitude(&current, 5e-5, 3.0) < 1e-6);
}
