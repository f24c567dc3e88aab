//! Edges and duty shifts of the pilot against ngspice 39.3.

use crate::rig::Rig;
use pilotage_core::RunTime;
use pilotage_virtual::physics::{Action, Node, PilotState};
use proptest::prelude::*;

/// Rise, fall (µs), shift at 0 V and at 50 % (points).
type Row = (PilotState, f64, [f64; 4]);

/// Section 1: ideal diode, step of 10 ns.
const STEP: [Row; 12] = [
    (PilotState::A, 0.3, [0.6590, 0.6590, 0.0, 0.0]),
    (PilotState::A, 3.1, [6.811, 6.811, 0.0, 0.0]),
    (PilotState::A, 5.5, [12.08, 12.08, 0.0, 0.0]),
    (PilotState::B, 0.3, [0.5001, 0.6520, -0.00510, 0.00249]),
    (PilotState::B, 3.1, [5.169, 6.739, -0.05275, 0.02571]),
    (PilotState::B, 5.5, [9.171, 11.96, -0.09359, 0.04563]),
    (PilotState::C, 0.3, [0.3542, 0.6510, -0.01014, 0.00519]),
    (PilotState::C, 3.1, [3.661, 6.729, -0.10485, 0.05365]),
    (PilotState::C, 5.5, [6.495, 11.94, -0.18603, 0.09518]),
    (PilotState::D, 0.3, [0.2304, 0.6574, -0.01532, 0.00854]),
    (PilotState::D, 3.1, [2.381, 6.794, -0.15838, 0.08817]),
    (PilotState::D, 5.5, [4.225, 12.05, -0.28098, 0.15644]),
];

/// Section 2: ideal diode, ramp of 2.5 µs.
const RAMP: [Row; 12] = [
    (PilotState::A, 0.3, [2.063, 2.063, 0.0, 0.0]),
    (PilotState::A, 3.1, [7.137, 7.137, 0.0, 0.0]),
    (PilotState::A, 5.5, [12.22, 12.22, 0.0, 0.0]),
    (PilotState::B, 0.3, [1.971, 2.098, -0.00571, 0.02859]),
    (PilotState::B, 3.1, [5.545, 7.119, -0.04976, 0.02871]),
    (PilotState::B, 5.5, [9.345, 12.13, -0.09188, 0.04734]),
    (PilotState::C, 0.3, [1.831, 2.100, -0.01022, 0.06020]),
    (PilotState::C, 3.1, [4.092, 7.177, -0.09572, 0.06278]),
    (PilotState::C, 5.5, [6.720, 12.16, -0.18073, 0.10048]),
    (PilotState::D, 0.3, [1.418, 1.846, -0.01292, 0.09347]),
    (PilotState::D, 3.1, [2.877, 7.281, -0.14070, 0.11332]),
    (PilotState::D, 5.5, [4.513, 12.31, -0.26319, 0.17426]),
];

/// Section 4: junction diode, step.
const JUNCTION: [Row; 9] = [
    (PilotState::B, 0.3, [0.5005, 0.6519, -0.00512, 0.00248]),
    (PilotState::B, 3.1, [5.173, 6.738, -0.05295, 0.02561]),
    (PilotState::B, 5.5, [9.178, 11.95, -0.09394, 0.04545]),
    (PilotState::C, 0.3, [0.3550, 0.6509, -0.01016, 0.00517]),
    (PilotState::C, 3.1, [3.669, 6.727, -0.10501, 0.05342]),
    (PilotState::C, 5.5, [6.509, 11.94, -0.18630, 0.09479]),
    (PilotState::D, 0.3, [0.2312, 0.6571, -0.01532, 0.00850]),
    (PilotState::D, 3.1, [2.389, 6.792, -0.15840, 0.08778]),
    (PilotState::D, 5.5, [4.239, 12.05, -0.28103, 0.15574]),
];

const INTERVAL_S: f64 = 5e-9;

/// Two periods and a half of the pilot, and the time of the first value on the generator's own clock.
fn waveform(state: PilotState, nf: f64, ramp_s: f64, slope: f64, amps: f64) -> Vec<f64> {
    let mut rig = Rig::booted(&[
        ("bench_diode_slope", slope),
        ("bench_diode_tc", 0.0),
        ("bench_r_relay", 0.0),
        ("r_cp_leak", 1e15),
        ("rated_current", amps),
        ("t_rise", 0.8 * ramp_s),
        ("jitter", 0.0),
        ("t_tick", 0.0),
        ("cable_length", 0.0),
        ("c_source", nf * 1e-9),
        ("pwm_in_a", 1.0),
    ]);
    rig.load(state);
    rig.wait(2.5);
    let mut out = Vec::new();
    rig.world.samples(
        Node::Pilot,
        RunTime(rig.now.0 - 2_500_000),
        INTERVAL_S,
        500_000,
        &mut out,
    );
    out
}

/// First crossing of a level from `after` on, in values, between two of them on a straight line.
fn crossing(values: &[f64], level: f64, rising: bool, after: f64) -> f64 {
    let first = after.ceil() as usize;
    let index = (first + 1..values.len())
        .find(|&k| {
            if rising {
                values[k - 1] < level && values[k] >= level
            } else {
                values[k - 1] > level && values[k] <= level
            }
        })
        .expect("the waveform crosses");
    index as f64 - (values[index] - level) / (values[index] - values[index - 1])
}

fn measure(values: &[f64], duty: f64) -> [f64; 4] {
    let low = values.iter().copied().fold(f64::MAX, f64::min);
    let high = values.iter().copied().fold(f64::MIN, f64::max);
    let at = |part: f64| low + part * (high - low);
    let us = INTERVAL_S * 1e6;
    let base = crossing(values, at(0.1), true, 0.0);
    let base = if base < 20_000.0 {
        crossing(values, at(0.1), true, 40_000.0)
    } else {
        base
    };
    let start = base - 10_000.0;
    let (r10, r90) = (
        crossing(values, at(0.1), true, start),
        crossing(values, at(0.9), true, start),
    );
    let (f90, f10) = (
        crossing(values, at(0.9), false, r90),
        crossing(values, at(0.1), false, r90),
    );
    let width = |level: f64| {
        let rise = crossing(values, level, true, start);
        (crossing(values, level, false, rise) - rise) * us / 10.0 - 100.0 * duty
    };
    [(r90 - r10) * us, (f10 - f90) * us, width(0.0), width(at(0.5))]
}

fn check(rows: &[Row], ramp_s: f64, slope: f64, (amps, duty): (f64, f64)) {
    for (state, nf, expected) in rows {
        let found = measure(&waveform(*state, *nf, ramp_s, slope, amps), duty);
        for k in 0..2 {
            // Asked for: 0.1 µs. The closed form with one knee is far closer; a junction's curved knee costs 16 ns.
            assert!(
                (found[k] - expected[k]).abs() < 0.02,
                "{state:?} {nf} nF: {found:?}, expected {expected:?}"
            );
        }
        for k in 2..4 {
            assert!(
                (found[k] - expected[k]).abs() < 0.002,
                "{state:?} {nf} nF: {found:?}, expected {expected:?}"
            );
        }
    }
}

#[test]
fn step_source_at_50_percent() {
    check(&STEP, 10e-9, 0.0, (30.0, 0.5));
}

#[test]
fn step_source_at_10_percent() {
    check(&STEP, 10e-9, 0.0, (6.0, 0.1));
}

#[test]
fn ramp_of_2_5_us() {
    check(&RAMP, 2.5e-6, 0.0, (30.0, 0.5));
}

#[test]
fn junction_diode() {
    check(&JUNCTION, 10e-9, 0.025_865, (30.0, 0.5));
}

#[test]
fn a_sample_does_not_depend_on_what_is_read_with_it() {
    let mut rig = Rig::offering(&[]);
    let dense = rig.past(Node::Pilot, 0.01, 1e-7);
    let sparse = rig.past(Node::Pilot, 0.01, 1e-5);
    for (k, value) in sparse.iter().enumerate() {
        assert!((value - dense[k * 100]).abs() < 1e-6, "{k}: {value} {}", dense[k * 100]);
    }
    let mean = rig.world.mean(Node::Pilot, RunTime(rig.now.0 - 10_000_000), rig.now);
    let sampled = dense.iter().sum::<f64>() / dense.len() as f64;
    assert!((mean - sampled).abs() < 2e-3, "{mean} {sampled}");
    let rms = rig.world.rms(Node::Pilot, RunTime(rig.now.0 - 10_000_000), rig.now);
    let square = dense.iter().map(|v| v * v).sum::<f64>() / dense.len() as f64;
    assert!((rms - square.sqrt()).abs() < 2e-3, "{rms} {}", square.sqrt());
}

#[test]
fn jitter_has_the_deviation_that_was_asked_for() {
    let mut rig = Rig::offering(&[("jitter", 0.004), ("t_rise", 1e-8), ("cable_length", 0.0)]);
    let values = rig.past(Node::Pilot, 0.4, 1e-6);
    let mut widths = Vec::new();
    let mut rise = 0.0;
    while rise < values.len() as f64 - 3000.0 {
        rise = crossing(&values, 0.0, true, rise);
        let fall = crossing(&values, 0.0, false, rise);
        widths.push((fall - rise) * 1e-3);
        rise = fall;
    }
    let mean = widths.iter().sum::<f64>() / widths.len() as f64;
    let sigma = (widths.iter().map(|w| (w - mean).powi(2)).sum::<f64>() / widths.len() as f64).sqrt();
    assert!(widths.len() > 390);
    // Four standard errors of a deviation from 397 widths are 14 %.
    assert!((sigma - 0.004).abs() < 0.0006, "{sigma}");
}

/// Something that changes the pilot's circuit.
fn change() -> impl Strategy<Value = Action> {
    prop_oneof![
        proptest::sample::select(vec![PilotState::A, PilotState::B, PilotState::C, PilotState::D])
            .prop_map(Action::PilotLoad),
        (250.0..50_000.0_f64).prop_map(Action::PilotResistance),
        (0.0..3e-9_f64).prop_map(Action::PilotCapacitance),
        any::<bool>().prop_map(|shorted| Action::PilotDiode { shorted }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// A capacitance stands at the pilot, so its voltage never jumps, whatever is switched in whatever moment of a period;
    /// and mean and rms are those of the samples.
    #[test]
    fn the_pilot_never_jumps(changes in proptest::collection::vec((change(), 1e-6..2.5e-3_f64), 1..6)) {
        let mut rig = Rig::offering(&[]);
        let start = rig.now;
        for (action, span_s) in changes {
            rig.act(action);
            rig.wait(span_s);
        }
        rig.wait(1e-3);
        let count = ((rig.now.0 - start.0) / 5) as usize;
        let mut values = Vec::new();
        rig.world.samples(Node::Pilot, start, 5e-9, count, &mut values);
        // The quickest: 1 kΩ beside 250 Ω at 0.8 nF is 160 ns; 5 ns of it are 3.1 % of at most 25 V.
        for (k, pair) in values.windows(2).enumerate() {
            prop_assert!((pair[1] - pair[0]).abs() < 0.8, "jumps at {k}: {pair:?}");
        }
        let mean = values.iter().sum::<f64>() / count as f64;
        let square = values.iter().map(|v| v * v).sum::<f64>() / count as f64;
        prop_assert!((rig.world.mean(Node::Pilot, start, rig.now) - mean).abs() < 1e-3);
        prop_assert!((rig.world.rms(Node::Pilot, start, rig.now) - square.sqrt()).abs() < 1e-3);
    }
}
