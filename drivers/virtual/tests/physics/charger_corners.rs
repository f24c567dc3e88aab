//! A healthy charger at the ends of its tolerances, what of it can be measured dead, and the same acts twice.

use super::charger_plant::Plant;
use super::charger_power::order_rms;
use pilotage_virtual::physics::{Action, DcPair, DeadPath, Insulated, ItemSort, Node, Pair, PilotSource, parameters};
use std::f64::consts::TAU;

const DC_V: Node = Node::Dc(DcPair::PlusMinus);
const OFFERED: f64 = 0.5333;

/// Every toleranced parameter at one end, or by turns at either.
fn corners() -> Vec<Vec<(&'static str, f64)>> {
    let of = |end: &dyn Fn(usize) -> bool| {
        parameters(ItemSort::OnboardCharger)
            .filter_map(|p| Some((p.name, p.tolerance?)))
            .enumerate()
            .map(|(k, (name, (low, high)))| (name, if end(k) { high } else { low }))
            .collect()
    };
    vec![
        of(&|_| false),
        of(&|_| true),
        of(&|k| k % 2 == 0),
        of(&|k| k % 2 == 1),
        of(&|k| k % 3 == 0),
        of(&|k| k / 2 % 2 == 0),
        of(&|k| k * 7 % 11 < 5),
    ]
}

/// 92 %, 0.98 and 10 % are common practice and what SAE J2894 asks for (from memory), with a margin; 230 A: IEC 61851-1, 12.2 (restated);
/// orders 3 to 13 as IEC 61000-3-12 allows at its lowest short-circuit ratio (from memory).
#[test]
fn every_corner_of_a_healthy_charger_meets_its_limits() {
    for corner in corners() {
        let mut plant = Plant::charging(&corner, 400.0, OFFERED);
        plant.wait(4.0);
        assert!(plant.says().enabled, "{corner:?}");
        let (in_w, drawn) = (plant.input_w(), plant.rms(Node::InCurrent));
        assert!((28.8..=32.0).contains(&drawn), "{drawn} {corner:?}");
        let out_w = plant.mean(DC_V) * plant.mean(Node::DcCurrent);
        assert!(out_w / in_w >= 0.92, "{} {corner:?}", out_w / in_w);
        let volts = plant.rms(Node::In(Pair::LN));
        assert!(in_w / volts / drawn >= 0.98, "{corner:?}");
        let from = plant.later(-0.2);
        let current = plant.samples(Node::InCurrent, from, 1e-4, 2000);
        let first = order_rms(&current, 10, 1);
        for (order, allowed) in [(3, 0.216), (5, 0.107), (7, 0.072), (9, 0.038), (11, 0.031), (13, 0.020)] {
            let ratio = order_rms(&current, 10, order) / first;
            assert!(ratio < allowed, "order {order}: {ratio} {corner:?}");
        }
        let dc = plant.samples(Node::DcCurrent, from, 1e-5, 20_000);
        let ripple = order_rms(&dc, 10, 2) * core::f64::consts::SQRT_2 * 2.0 / plant.mean(Node::DcCurrent);
        assert!(ripple <= 0.05, "{ripple} {corner:?}");
        assert!(plant.rms(Node::PeCurrent) <= 3.5e-3);

        // The current has gone before S2 opens; the output is dead five seconds later.
        plant.act(Action::PilotSource(PilotSource::Steady));
        while plant.truth().commanded {
            plant.wait(0.01);
        }
        let from = plant.later(-0.02);
        assert!(plant.world.rms(Node::InCurrent, from, plant.now) < 1.0, "{corner:?}");
        plant.act(Action::Load { on: false });
        plant.wait(5.0);
        assert!(plant.at(DC_V) < 60.0, "{corner:?}");
        plant.act(Action::Supply { on: false });
        plant.wait(1.0);
        assert!(plant.at(Node::In(Pair::LN)).abs() < 30.0, "{corner:?}");

        let mut dumped = Plant::charging(&corner, 400.0, OFFERED);
        dumped.act(Action::Load { on: false });
        let from = dumped.now;
        dumped.wait(0.02);
        let peak = dumped.samples(DC_V, from, 1e-6, 5000).into_iter().fold(0.0, f64::max);
        assert!(peak <= 1.1 * 420.0, "{peak} {corner:?}");

        let mut plugged = Plant::new(&corner);
        plugged.offer(OFFERED);
        plugged.wait(6.0);
        plugged.act(Action::SupplyAngle(core::f64::consts::FRAC_PI_2));
        plugged.act(Action::Supply { on: true });
        let from = plugged.now;
        plugged.wait(2.0);
        let peak = plugged
            .samples(Node::InCurrent, from, 1e-5, 200_000)
            .into_iter()
            .map(f64::abs)
            .fold(0.0, f64::max);
        assert!(peak < 30.0, "{peak} {corner:?}");
    }
}

#[test]
fn a_steady_pilot_and_one_without_a_negative_half_are_taken_where_they_must_not_be() {
    let drawn = |changes: &[(&str, f64)], source: PilotSource| {
        let mut plant = Plant::charging(changes, 400.0, OFFERED);
        plant.act(Action::PilotSource(PilotSource::Off));
        plant.wait(3.0);
        plant.act(Action::PilotSource(source));
        plant.wait(12.0);
        plant.rms(Node::InCurrent)
    };
    assert!(drawn(&[], PilotSource::Steady) < 0.3);
    assert!((drawn(&[("draws_x1", 1.0)], PilotSource::Steady) - 5.88).abs() < 0.1);
    assert!(drawn(&[], PilotSource::PositiveOnly) > 30.0);
    assert!(drawn(&[("accepts_positive_only", 0.0)], PilotSource::PositiveOnly) < 0.3);
    assert!(drawn(&[("accepts_positive_only", 0.0)], PilotSource::Pwm) > 30.0);
    // What ignores the end of an offer goes on drawing.
    let kept = |name: &'static str, source: PilotSource| {
        let mut plant = Plant::charging(&[(name, 1.0)], 400.0, OFFERED);
        plant.act(Action::PilotSource(source));
        plant.wait(5.0);
        plant.rms(Node::InCurrent)
    };
    assert!(kept("ignores_x1", PilotSource::Steady) > 30.0);
    assert!(kept("ignores_fault", PilotSource::Fault) > 30.0);
    assert!(kept("ignores_fault", PilotSource::Off) > 30.0);
}

#[test]
fn dead_it_shows_insulation_bond_loop_and_capacitances() {
    let mut plant = Plant::new(&[("r_iso_dc_minus", 40e3), ("r_bond", 0.6)]);
    let now = plant.now;
    let mut ohm = |what| plant.world.resistance(what, now);
    assert_eq!(ohm(DeadPath::Bond), Some(0.6));
    assert_eq!(ohm(DeadPath::Isolation(Insulated::DcMinusToChassis)), Some(40e3));
    assert_eq!(ohm(DeadPath::Isolation(Insulated::AcToChassis)), Some(25e6));
    assert_eq!(ohm(DeadPath::Isolation(Insulated::DcPlusToChassis)), Some(100e6));
    assert_eq!(ohm(DeadPath::Isolation(Insulated::AcToDc)), Some(200e6));
    // 1 MΩ beside the meter, and both insulations in a row beside them.
    let across = ohm(DeadPath::Dc(DcPair::PlusMinus)).unwrap();
    assert!((across - 1.0 / (1e-6 + 1e-7 + 1.0 / 100.04e6)).abs() < 1.0, "{across}");
    assert_eq!(ohm(DeadPath::InterlockLoop), Some(1.0));
    assert_eq!(
        plant.world.capacitance(DeadPath::Dc(DcPair::PlusMinus), now),
        Some(30e-6)
    );
    // As admittances: the capacitor with its own 8 mΩ, and 1 MΩ with the meter beside it.
    for hz in [100.0, 1000.0, 20e3] {
        let (own, reactance) = (8e-3, 1.0 / (TAU * hz * 30e-6));
        let square: f64 = own * own + reactance * reactance;
        let (conductance, susceptance) = (own / square + 1.1e-6, reactance / square);
        let wanted = conductance / (conductance * conductance + susceptance * susceptance);
        let path = DeadPath::Dc(DcPair::PlusMinus);
        let found = plant.world.series_ohm(path, hz, now).unwrap();
        assert!((found / wanted - 1.0).abs() < 1e-9, "{found} {wanted} at {hz} Hz");
    }
    assert_eq!(plant.world.series_ohm(DeadPath::Dc(DcPair::PlusPe), 1000.0, now), None);
    let x = plant.world.capacitance(DeadPath::AcPins(Pair::LN), now).unwrap();
    assert!((x - 2.205e-6).abs() < 1e-12, "{x}");
    plant.act(Action::InterlockLoop { closed: false });
    assert_eq!(plant.world.resistance(DeadPath::InterlockLoop, now), None);
    let mut bridged = Plant::new(&[("interlock_bridged", 1.0), ("ac_fuse_open", 1.0)]);
    bridged.act(Action::InterlockLoop { closed: false });
    assert_eq!(
        bridged.world.resistance(DeadPath::InterlockLoop, bridged.now),
        Some(1.0)
    );
    let blown = bridged
        .world
        .capacitance(DeadPath::AcPins(Pair::LN), bridged.now)
        .unwrap();
    assert!(blown < 10e-9, "{blown}");
    // Live, nothing of this is measured; against PE the leaking contact is the one near it.
    let mut live = Plant::charging(&[("r_iso_dc_minus", 40e3)], 400.0, OFFERED);
    for what in [
        DeadPath::Dc(DcPair::PlusMinus),
        DeadPath::Isolation(Insulated::AcToDc),
        DeadPath::AcPins(Pair::LN),
    ] {
        assert_eq!(live.world.resistance(what, live.now), None, "{what:?}");
        assert_eq!(live.world.series_ohm(what, 1000.0, live.now), None, "{what:?}");
    }
    assert!(live.mean(Node::Dc(DcPair::PlusPe)) > 395.0 && live.mean(Node::Dc(DcPair::MinusPe)) > -5.0);
}

#[test]
fn the_same_acts_give_the_same_bits() {
    let play = || {
        let mut plant = Plant::charging(&[], 380.0, OFFERED);
        plant.act(Action::SupplyDip {
            ratio: 0.3,
            for_s: 0.4,
            angle_rad: 1.0,
        });
        plant.wait(6.0);
        plant.act(Action::Load { on: false });
        plant.wait(0.5);
        let from = plant.later(-7.0);
        let mut all = plant.samples(Node::InCurrent, from, 1e-3, 7000);
        all.extend(plant.samples(DC_V, from, 1e-3, 7000));
        all.iter().map(|v| v.to_bits()).collect::<Vec<_>>()
    };
    assert_eq!(play(), play());
}
