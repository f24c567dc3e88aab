//! Steady pilot levels against ngspice 39.3.

use crate::rig::Rig;
use pilotage_virtual::physics::{Action, Node, PilotState};

const IDEAL: [(&str, f64); 4] = [
    ("bench_diode_slope", 0.0),
    ("bench_diode_tc", 0.0),
    ("bench_r_relay", 0.0),
    ("r_cp_leak", 1e15),
];

fn levels(changes: &[(&str, f64)], state: PilotState) -> (f64, f64) {
    let mut all = IDEAL.to_vec();
    all.extend_from_slice(changes);
    all.extend_from_slice(&[("jitter", 0.0), ("closes_in_b", 0.0)]);
    let mut rig = Rig::booted(&all);
    rig.load(state);
    rig.wait(2.0);
    rig.pilot_levels()
}

fn close(found: f64, expected: f64, by: f64) {
    assert!((found - expected).abs() <= by, "found {found}, expected {expected}");
}

/// Three states in one call: the facts print four digits, so half a digit of the last place is theirs.
fn three(changes: &[(&str, f64)], expected: [f64; 3], by: f64) {
    for (state, expected) in [PilotState::B, PilotState::C, PilotState::D].into_iter().zip(expected) {
        close(levels(changes, state).0, expected, by);
    }
}

#[test]
fn ideal_diode() {
    three(&[], [8.979, 5.995, 2.929], 0.0005);
    close(levels(&[], PilotState::B).1, -12.0, 0.0005);
}

#[test]
fn junction_diode_of_0_70_v_at_5_ma() {
    // Ideality 1 at 27 °C: kT/q = 25.865 mV.
    three(&[("bench_diode_slope", 0.025_865)], [8.975, 5.997, 2.942], 0.0005);
}

#[test]
fn shipped_bench_gives_the_nominal_levels_of_the_catalogue() {
    for (state, expected) in [(PilotState::B, 8.975), (PilotState::C, 5.997), (PilotState::D, 2.942)] {
        let mut rig = Rig::booted(&[("ambient", 298.15)]);
        rig.load(state);
        rig.wait(2.0);
        close(rig.pilot_levels().0, expected, 0.001);
    }
}

#[test]
fn static_corners() {
    let parts = |r: f64| {
        [
            ("bench_r_b", 2740.0 * r),
            ("bench_r_c", 1300.0 * r),
            ("bench_r_d", 270.0 * r),
        ]
    };
    let mut low = vec![("v_pos", 11.4), ("r_source", 1030.0), ("bench_diode_v", 0.55)];
    low.extend(parts(0.97));
    three(&low, [8.370, 5.472, 2.589], 0.0005);
    let mut high = vec![("v_pos", 12.6), ("r_source", 970.0), ("bench_diode_v", 0.85)];
    high.extend(parts(1.03));
    three(&high, [9.5945, 6.5315, 3.282], 0.0005);
}

#[test]
fn shorted_diode_pulls_both_halves_alike() {
    for (state, expected) in [(PilotState::B, 8.791), (PilotState::C, 5.623), (PilotState::D, 2.367)] {
        let mut rig = Rig::booted(&IDEAL);
        rig.act(Action::PilotDiode { shorted: true });
        rig.load(state);
        rig.wait(2.0);
        let (high, low) = rig.pilot_levels();
        close(high, expected, 0.0005);
        close(low, -expected, 0.0005);
    }
}

#[test]
fn exchanged_leads_of_the_diode_load_the_other_half() {
    // Both rails are 12 V from zero, so what the high half was is what the low half becomes.
    let runs = [("pwm_in_a", 1.0)];
    let (high_v, low_v) = levels(&runs, PilotState::B);
    for state in [PilotState::B, PilotState::C, PilotState::D] {
        let (loaded_v, _) = levels(&runs, state);
        let (high, low) = levels(&[runs[0], ("bench_diode_reversed", 1.0)], state);
        close(high, 12.0, 0.0005);
        close(low, -loaded_v, 0.0005);
    }
    assert!(high_v < 9.0 && low_v < -11.9, "{high_v} {low_v}");
    let (high, low) = levels(&[runs[0], ("bench_diode_broken", 1.0)], PilotState::C);
    close(high, 12.0, 0.0005);
    close(low, -12.0, 0.0005);
}

#[test]
fn leak_shrinks_both_levels() {
    for (ohm, b, c, low) in [(10e3, 8.366, 5.726, -10.91), (20e3, 8.661, 5.858, -11.43)] {
        let leak = [("r_cp_leak", ohm)];
        close(levels(&leak, PilotState::B).0, b, 0.0005);
        close(levels(&leak, PilotState::C).0, c, 0.0005);
        close(levels(&leak, PilotState::B).1, low, 0.005);
        close(
            levels(&[("r_cp_leak", ohm), ("pwm_in_a", 1.0)], PilotState::A).0,
            -low,
            0.005,
        );
    }
}

#[test]
fn state_e_is_80_ohm_both_ways() {
    // ±12·80/1080 V.
    let mut rig = Rig::closed(&IDEAL);
    rig.load(PilotState::E);
    rig.wait(0.005);
    let values = rig.past(Node::Pilot, 0.003, 1e-6);
    close(values.iter().copied().fold(f64::MIN, f64::max), 0.8889, 0.0005);
    close(values.iter().copied().fold(f64::MAX, f64::min), -0.8889, 0.0005);
}

#[test]
fn mean_follows_duty_and_levels() {
    // Section 1: state B, 0.3 nF, 50 % and 10 % duty.
    for (amps, expected) in [(30.0, -1.5095), (6.0, -9.9010)] {
        let mut changes = IDEAL.to_vec();
        changes.extend([
            ("rated_current", amps),
            ("t_rise", 8e-9),
            ("jitter", 0.0),
            ("t_tick", 0.0),
        ]);
        changes.extend([("cable_length", 0.0), ("c_source", 0.3e-9)]);
        let mut rig = Rig::offering(&changes);
        close(rig.mean(Node::Pilot), expected, 0.0005);
    }
}

#[test]
fn hum_shows_as_ripple_of_the_steady_level() {
    let mut rig = Rig::booted(&[("v_hum", 0.3)]);
    let values = rig.past(Node::Pilot, 0.1, 1e-4);
    let span = values.iter().copied().fold(f64::MIN, f64::max) - values.iter().copied().fold(f64::MAX, f64::min);
    close(span, 0.3, 0.001);
}
