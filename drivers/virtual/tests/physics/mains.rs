//! The power path: what stands on each pair, live, open and with the burden.

use crate::rig::Rig;
use pilotage_virtual::physics::{Action, DeadPath, ItemSort, Node, Pair, PilotState, Pole, ReferenceMode, Setup};

#[test]
fn an_open_outlet_shows_ghost_volts_that_the_burden_takes_away() {
    let mut rig = Rig::booted(&[]);
    let ghost = rig.rms(Node::Out(Pair::LPe));
    assert!(ghost > 5.0, "{ghost}");
    rig.act(Action::Burden { on: true });
    rig.wait(0.3);
    for pair in [Pair::LN, Pair::LPe, Pair::NPe] {
        let volts = rig.rms(Node::Out(pair));
        assert!(volts < 5.0, "{pair:?} {volts}");
        assert!(rig.mean(Node::Out(pair)).abs() < 0.1);
    }
}

#[test]
fn a_ghost_is_the_divider_of_its_capacitance() {
    // V·R/|R + 1/jωC|, with one capacitance to one resistance: L open, N to PE held by its own pole.
    let rig = &mut Rig::booted(&[
        ("pole_n_stuck", 1.0),
        ("sense_weld", 0.0),
        ("c_out", 0.0),
        ("r_iso", 1e15),
        ("bench_r_meter", 20e6),
        ("r_pe", 0.0),
        ("z_source", 0.0),
    ]);
    let reactance = 1.0 / (2.0 * std::f64::consts::PI * 50.0 * 100e-12);
    let expected = 230.0 * 10e6 / f64::hypot(10e6, reactance);
    let ghost = rig.rms(Node::Out(Pair::LPe));
    assert!((ghost - expected).abs() < 0.01, "{ghost} {expected}");
}

#[test]
fn a_live_outlet_follows_its_input() {
    let mut rig = Rig::closed(&[]);
    let input = rig.rms(Node::In(Pair::LN));
    assert!((rig.rms(Node::Out(Pair::LN)) / input - 1.0).abs() < 0.01);
    assert!((rig.rms(Node::Out(Pair::LPe)) - 230.0).abs() < 1.0);
    assert!(rig.rms(Node::Out(Pair::NPe)) < 1.0);
    rig.draw(32.0);
    rig.wait(0.5);
    // 0.2 Ω of loop at 32 A: 6.4 V at the input, half of them between N and PE.
    assert!((input - rig.rms(Node::In(Pair::LN)) - 6.4).abs() < 0.01);
    assert!((rig.rms(Node::In(Pair::NPe)) - 3.2).abs() < 0.02);
    assert!((rig.rms(Node::OutCurrent) - 32.0).abs() < 1e-9);
    assert!((rig.rms(Node::InCurrent) - 32.0).abs() < 0.1);
}

#[test]
fn a_sine_is_what_its_samples_say() {
    let mut rig = Rig::closed(&[]);
    let values = rig.past(Node::Out(Pair::LN), 0.2, 5e-5);
    let rms = (values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64).sqrt();
    assert!((rms - rig.rms(Node::Out(Pair::LN))).abs() < 1e-3);
    let crossings = values.windows(2).filter(|pair| pair[0] < 0.0 && pair[1] >= 0.0).count();
    assert!((9..=11).contains(&crossings), "50 Hz: {crossings} in 0.2 s");
}

#[test]
fn crossed_conductors_show_between_n_and_pe() {
    let mut rig = Rig::closed(&[("perm", 1.0)]);
    assert!((rig.rms(Node::Out(Pair::LN)) - 230.0).abs() < 1.0);
    assert!((rig.rms(Node::Out(Pair::NPe)) - 230.0).abs() < 1.0);
    assert!(rig.rms(Node::Out(Pair::LPe)) < 1.0);
}

#[test]
fn an_open_neutral_pole_leaves_no_voltage_under_load() {
    let mut rig = Rig::closed(&[("n_pole_open", 1.0)]);
    rig.draw(16.0);
    rig.act(Action::Burden { on: true });
    rig.wait(0.5);
    assert!(rig.rms(Node::OutCurrent) < 1e-9);
    let volts = rig.rms(Node::Out(Pair::LN));
    assert!((volts - 230.0).abs() > 2.3, "{volts}");
}

#[test]
fn ohms_are_for_dead_paths_only() {
    let mut rig = Rig::new(&[("pole_l_stuck", 1.0)]);
    let stuck = rig.world.resistance(DeadPath::Pole(Pole::L), rig.now).unwrap();
    assert!(stuck < 0.02, "{stuck}");
    assert_eq!(rig.world.resistance(DeadPath::Pole(Pole::N), rig.now), None);
    rig.act(Action::Supply { on: true });
    assert_eq!(rig.world.resistance(DeadPath::Pole(Pole::L), rig.now), None);
}

#[test]
fn proximity_shows_the_latch() {
    let mut rig = Rig::new(&[]);
    assert_eq!(rig.world.resistance(DeadPath::Proximity, rig.now), Some(150.0));
    rig.act(Action::Latch { pressed: true });
    assert_eq!(rig.world.resistance(DeadPath::Proximity, rig.now), Some(480.0));
}

#[test]
fn the_pilot_resistor_shows_itself_in_check_only() {
    let mut rig = Rig::new(&[("bench_r_relay", 0.0)]);
    for (state, expected) in [
        (PilotState::B, 2740.0),
        (PilotState::C, 881.683),
        (PilotState::D, 245.781),
    ] {
        rig.load(state);
        assert_eq!(rig.world.resistance(DeadPath::PilotLoad, rig.now), None);
        rig.load(PilotState::Check);
        let found = rig.world.resistance(DeadPath::PilotLoad, rig.now).unwrap();
        assert!((found - expected).abs() < 1e-3, "{found}");
    }
    rig.act(Action::PilotResistance(1234.0));
    assert_eq!(rig.world.resistance(DeadPath::PilotLoad, rig.now), Some(1234.0));
}

#[test]
fn the_reference_is_50_volts_of_the_kind_asked_for() {
    let mut rig = Rig::new(&[]);
    rig.wait(1.0);
    assert_eq!(rig.rms(Node::Reference).to_bits(), 0.0_f64.to_bits());
    rig.act(Action::Reference(ReferenceMode::Ac));
    rig.wait(0.1);
    // Half of the last 200 ms: 50/√2 V.
    assert!((rig.rms(Node::Reference) - 35.355).abs() < 1e-3);
    rig.wait(0.1);
    assert!((rig.rms(Node::Reference) - 50.0).abs() < 1e-9 && rig.mean(Node::Reference).abs() < 1e-6);
    rig.act(Action::Reference(ReferenceMode::Dc));
    rig.wait(0.2);
    assert!((rig.mean(Node::Reference) - 50.0).abs() < 1e-9);
}

#[test]
fn a_split_phase_outlet_has_half_its_voltage_to_earth_on_both_lines() {
    let setup = Setup {
        item: ItemSort::WallUnit,
        amounts: [
            ("supply_voltage".to_owned(), 240.0),
            ("supply_frequency".to_owned(), 60.0),
        ]
        .into(),
        words: [("phases".to_owned(), "split".to_owned())].into(),
        seed: 1,
    };
    let mut rig = Rig::of(&setup);
    rig.act(Action::Supply { on: true });
    rig.wait(3.0);
    rig.load(PilotState::B);
    rig.wait(3.0);
    rig.load(PilotState::C);
    rig.wait(2.0);
    assert!((rig.rms(Node::Out(Pair::LN)) - 240.0).abs() < 0.1);
    assert!((rig.rms(Node::Out(Pair::LPe)) - 120.0).abs() < 0.1);
    assert!((rig.rms(Node::Out(Pair::NPe)) - 120.0).abs() < 0.1);
}

#[test]
fn a_source_in_its_limit_folds_back() {
    let mut rig = Rig::closed(&[("check_overcurrent", 0.0)]);
    rig.act(Action::SupplyCurrentLimit(10.0));
    rig.draw(12.5);
    rig.wait(0.5);
    assert!((rig.rms(Node::OutCurrent) - 10.0).abs() < 1e-9);
    // 230 V · 10/12.5 = 184 V, less the source's own drop.
    assert!((rig.rms(Node::In(Pair::LN)) - 182.0).abs() < 0.1);
}

#[test]
fn each_pair_of_a_dead_outlet_shows_its_burden_with_the_two_others_beside_it() {
    let pairs = [Pair::LN, Pair::LPe, Pair::NPe].map(DeadPath::Out);
    let mut rig = Rig::new(&[("r_iso", 1e15)]);
    let all = |rig: &mut Rig| pairs.map(|pair| rig.world.resistance(pair, rig.now).unwrap());
    // Inputs of 10 MΩ across each pair: 10 MΩ ‖ 20 MΩ; with 100 kΩ beside each, two thirds of 100 kΩ ‖ 10 MΩ.
    for ohm in all(&mut rig) {
        assert!((ohm - 20e6 / 3.0).abs() < 1.0, "{ohm}");
    }
    rig.act(Action::Burden { on: true });
    for ohm in all(&mut rig) {
        assert!((ohm - 2.0 / 3.0 * 1e12 / 10.1e6).abs() < 1e-3, "{ohm}");
    }
    // A leak lowers the pair that it stands across most.
    let mut leaks = Rig::new(&[("r_iso", 100e3)]);
    leaks.act(Action::Burden { on: true });
    let [ln, lpe, npe] = all(&mut leaks);
    assert!(lpe < ln && (ln - npe).abs() < 1e-6, "{ln} {lpe} {npe}");
    rig.act(Action::Supply { on: true });
    assert_eq!(
        rig.world.resistance(pairs[0], rig.now),
        None,
        "ohms are for what is dead"
    );
}
