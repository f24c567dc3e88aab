//! Pulse parameters of waveforms whose parameters are known in closed form.
#![allow(clippy::unwrap_used, clippy::float_cmp)]

use pilotage_core::pulse::{Found, Lack, LevelMethod, Options, PulseParameters, analyse, analyse_with};
use proptest::prelude::*;

fn near(found: f64, wanted: f64, absolute: f64) {
    assert!(
        (found - wanted).abs() <= absolute,
        "found {found}, wanted {wanted} ± {absolute}"
    );
}

fn value(found: &Found) -> f64 {
    found.as_ref().unwrap().value
}

/// Reproducible noise, uniform in ±half.
struct Noise(u64);

impl Noise {
    fn next(&mut self, half: f64) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        2.0 * half * ((self.0 >> 11) as f64 / (1u64 << 53) as f64 - 0.5)
    }
}

/// A pulse with straight edges; `phase` in seconds after its start.
#[derive(Clone, Copy)]
struct Trapezoid {
    low: f64,
    high: f64,
    period: f64,
    /// From the start of the rise to the start of the fall.
    on: f64,
    rise: f64,
    fall: f64,
}

impl Trapezoid {
    fn at(&self, time: f64) -> f64 {
        let phase = time.rem_euclid(self.period);
        let part = if phase < self.rise {
            phase / self.rise
        } else if phase < self.on {
            1.0
        } else if phase < self.on + self.fall {
            1.0 - (phase - self.on) / self.fall
        } else {
            0.0
        };
        self.low + (self.high - self.low) * part
    }

    fn samples(&self, count: usize, interval: f64, delay: f64, noise: f64) -> Vec<f64> {
        let mut random = Noise(1);
        (0..count)
            .map(|index| self.at(index as f64 * interval - delay) + random.next(noise))
            .collect()
    }

    /// Time above a level.
    fn above(&self, level: f64) -> f64 {
        let part = (level - self.low) / (self.high - self.low);
        self.on + self.fall * (1.0 - part) - self.rise * part
    }
}

const PILOT: Trapezoid = Trapezoid {
    low: -12.0,
    high: 12.0,
    period: 1e-3,
    on: 300e-6,
    rise: 5e-6,
    fall: 5e-6,
};

fn million() -> Vec<f64> {
    PILOT.samples(1_000_000, 1e-6, 0.0, 0.025)
}

/// The cross-check vector that an array program and two others agreed on with plain histogram levels.
#[test]
fn one_million_samples_as_other_programs_report_them() {
    let options = Options {
        levels: LevelMethod::BinCentre,
        ..Options::default()
    };
    let found = analyse_with(&million(), 1e-6, &options).unwrap();
    near(value(&found.low_v), -11.978, 5e-4);
    near(value(&found.high_v), 11.978, 5e-4);
    near(value(&found.rise_s), 3.993e-6, 1e-9);
    near(value(&found.duty_at_half), 0.3000, 5e-7);
    near(value(&found.frequency_hz), 1000.0, 5e-3);
}

#[test]
fn one_million_samples_refined() {
    let found = analyse(&million(), 1e-6).unwrap();
    near(value(&found.low_v), -12.0, 1e-3);
    near(value(&found.high_v), 12.0, 1e-3);
    near(value(&found.rise_s), 4e-6, 1e-9);
    near(value(&found.fall_s), 4e-6, 1e-9);
    near(value(&found.duty_at_half), 0.3, 1e-6);
    near(value(&found.duty_at_zero), 0.3, 1e-6);
    near(value(&found.frequency_hz), 1000.0, 1e-3);
    near(value(&found.overshoot), 0.025 / 24.0, 1e-4);
    near(found.mean_v, -4.8, 1e-3);
    assert!(!found.steady);
}

/// D7, D8: ±12 V, 2 µs edges at 5 MS/s, width 533.3 µs.
#[test]
fn bias_of_a_plain_histogram_and_its_cure() {
    let pulse = Trapezoid {
        on: 533.3e-6,
        rise: 2e-6,
        fall: 2e-6,
        ..PILOT
    };
    let samples = pulse.samples(50_000, 0.2e-6, 100e-6, 0.0);
    let options = Options {
        levels: LevelMethod::BinCentre,
        ..Options::default()
    };
    let plain = analyse_with(&samples, 0.2e-6, &options).unwrap();
    near(value(&plain.high_v), 11.953, 5e-4);
    near(value(&plain.low_v), -11.953, 5e-4);
    near(value(&plain.rise_s), 1.594e-6, 5e-10);
    near(value(&plain.width_at_half_s), 533.3e-6, 5e-10);
    let refined = analyse(&samples, 0.2e-6).unwrap();
    near(value(&refined.high_v), 12.0, 5e-3);
    near(value(&refined.rise_s), 1.6e-6, 1e-9);
    near(value(&refined.width_at_half_s), 533.3e-6, 5e-10);
}

/// D9: an RC edge takes τ·ln 9 from 10 % to 90 %.
#[test]
fn rc_edges() {
    let tau = 5.5e-6;
    let at = |time: f64| {
        let phase = time.rem_euclid(1e-3);
        if phase < 5e-4 {
            12.0 - 24.0 * (-phase / tau).exp()
        } else {
            -12.0 + 24.0 * (-(phase - 5e-4) / tau).exp()
        }
    };
    let interval = 0.2e-6;
    let samples: Vec<f64> = (0..100_000)
        .map(|index| at(f64::from(index) * interval - 200.07e-6))
        .collect();
    let found = analyse(&samples, interval).unwrap();
    // The tail of the exponential keeps the levels about a millivolt short of ±12 V.
    near(value(&found.high_v), 12.0, 4e-3);
    near(value(&found.rise_s), tau * 9f64.ln(), 0.01e-6);
    near(value(&found.fall_s), tau * 9f64.ln(), 0.01e-6);
    near(value(&found.duty_at_half), 0.5, 1e-5);
    let claimed = 2.0 * found.rise_s.as_ref().unwrap().standard;
    assert!(
        (value(&found.rise_s) - tau * 9f64.ln()).abs() <= claimed,
        "inside its own uncertainty"
    );
}

/// D10: overshoot of a second-order step, ζ = 0.5, ωn = 1.
#[test]
fn overshoot_of_a_second_order_step() {
    let damped = 0.75f64.sqrt();
    let step = |time: f64| {
        if time < 0.0 {
            0.0
        } else {
            1.0 - (-0.5 * time).exp() * ((damped * time).cos() + 0.5 / damped * (damped * time).sin())
        }
    };
    let interval = 0.005;
    let samples: Vec<f64> = (0..40_000)
        .map(|index| step(f64::from(index) * interval - 100.0))
        .collect();
    let found = analyse(&samples, interval).unwrap();
    near(value(&found.overshoot), 0.163_034, 2e-4);
    near(value(&found.rise_s), 1.6376, 2e-3);
    assert!(matches!(found.frequency_hz, Err(Lack::TooFewCycles { .. })));
    assert_eq!(found.fall_s, Err(Lack::NoEdge { edge: "falling" }));
}

/// Levels of a loaded pilot (state C) and the two duties, which differ by the slope of the edges.
#[test]
fn state_c_with_slow_edges() {
    let pulse = Trapezoid {
        high: 5.995,
        rise: 7e-6,
        fall: 13e-6,
        on: 533e-6,
        ..PILOT
    };
    let found = analyse(&pulse.samples(200_000, 0.25e-6, 123.4e-6, 0.0), 0.25e-6).unwrap();
    near(value(&found.high_v), 5.995, 1e-3);
    near(value(&found.duty_at_zero), pulse.above(0.0) / 1e-3, 1e-6);
    near(value(&found.duty_at_half), pulse.above(-3.0025) / 1e-3, 1e-6);
    near(value(&found.rise_s), 5.6e-6, 2e-9);
    near(value(&found.fall_s), 10.4e-6, 2e-9);
    near(value(&found.width_at_zero_s), pulse.above(0.0), 1e-9);
}

#[test]
fn jitter_of_the_duty() {
    let duties = [0.30, 0.31, 0.29, 0.30, 0.32, 0.28];
    let at = |time: f64| {
        let cycle = (time / 1e-3).floor();
        let duty = duties[cycle.rem_euclid(6.0) as usize];
        if time - cycle * 1e-3 < duty * 1e-3 { 9.0 } else { -12.0 }
    };
    let samples: Vec<f64> = (0..60_500).map(|index| at(f64::from(index) * 1e-6 + 0.5e-6)).collect();
    let found = analyse(&samples, 1e-6).unwrap();
    // An edge without a sample of its own: the crossing is interpolated at 12/21 of an interval up, 9/21 down.
    near(value(&found.duty_at_zero), 0.3 - 3.0 / 21.0 * 1e-3, 1e-6);
    // Population √(10/6)·0.01 → sample σ of 60 cycles: × √(60/59).
    near(
        value(&found.duty_spread),
        0.01 * (10.0f64 / 6.0).sqrt() * (60.0f64 / 59.0).sqrt(),
        2e-4,
    );
}

#[test]
fn a_steady_level_is_reported_as_one() {
    let mut random = Noise(3);
    for noise in [0.0, 0.01, 0.2] {
        let samples: Vec<f64> = (0..20_000).map(|_| 11.9 + random.next(noise)).collect();
        let found = analyse(&samples, 1e-6).unwrap();
        assert!(found.steady, "noise {noise}");
        near(found.mean_v, 11.9, 0.01);
        near(found.span_v(), 2.0 * noise, 0.02);
        assert!(matches!(found.frequency_hz, Err(Lack::Steady { .. })));
    }
    let any_swing = Options {
        least_swing_v: 0.0,
        ..Options::default()
    };
    let noise: Vec<f64> = (0..20_000).map(|_| random.next(0.3)).collect();
    assert!(
        analyse_with(&noise, 1e-6, &any_swing).unwrap().steady,
        "noise alone has no two states"
    );
}

#[test]
fn what_cannot_be_told_says_why() {
    assert_eq!(analyse(&[1.0], 1e-6), Err(Lack::TooFewSamples { have: 1, need: 3 }));
    assert_eq!(analyse(&[1.0, f64::NAN, 2.0], 1e-6), Err(Lack::NotANumber));
    assert_eq!(analyse(&[1.0, f64::INFINITY, 2.0], 1e-6), Err(Lack::NotANumber));
    assert!(matches!(analyse(&[1.0, 2.0, 3.0], 0.0), Err(Lack::NotPositive { .. })));
    let above_zero = Trapezoid {
        low: 1.0,
        high: 5.0,
        ..PILOT
    };
    let found = analyse(&above_zero.samples(10_000, 1e-6, 0.0, 0.0), 1e-6).unwrap();
    assert!(matches!(found.duty_at_zero, Err(Lack::LevelOutside { .. })));
    near(value(&found.duty_at_half), 0.3, 1e-6);
    let one_step: Vec<f64> = (0..1000).map(|index| if index < 400 { 12.0 } else { 9.0 }).collect();
    let found = analyse(&one_step, 1e-6).unwrap();
    assert!(!found.steady);
    near(value(&found.high_v), 12.0, 1e-9);
    near(value(&found.low_v), 9.0, 1e-9);
    assert!(matches!(found.frequency_hz, Err(Lack::TooFewCycles { .. })));
    assert!(matches!(found.rise_s, Err(Lack::NoEdge { .. })));
}

/// A runt and noise on a slow edge are no transitions.
#[test]
fn runts_and_dithering_edges_do_not_count() {
    let pulse = Trapezoid {
        rise: 50e-6,
        fall: 50e-6,
        ..PILOT
    };
    let mut samples = pulse.samples(20_000, 1e-6, 0.0, 0.6);
    samples[5_600..5_640].fill(3.0);
    let found = analyse(&samples, 1e-6).unwrap();
    near(value(&found.frequency_hz), 1000.0, 0.2);
    near(value(&found.duty_at_half), 0.3, 2e-3);
}

/// Twenty samples a period, as a long capture of a contactor's timing has.
#[test]
fn few_samples_a_period() {
    let found = analyse(&PILOT.samples(80_000, 50e-6, 13e-6, 0.02), 50e-6).unwrap();
    near(value(&found.high_v), 12.0, 0.02);
    near(value(&found.frequency_hz), 1000.0, 0.02);
    let duty = found.duty_at_zero.clone().unwrap();
    near(duty.value, 0.3, 2.0 * duty.standard);
    assert!(duty.standard > 0.01, "the sampling interval is said");
}

fn close(parameters: &PulseParameters, pulse: &Trapezoid, interval: f64) {
    let swing = pulse.high - pulse.low;
    let within = |found: &Found, wanted: f64, absolute: f64| {
        let estimate = found.as_ref().unwrap_or_else(|lack| panic!("{lack}"));
        let allowed = absolute + 4.0 * estimate.standard;
        assert!(
            (estimate.value - wanted).abs() <= allowed,
            "found {}, wanted {wanted} ± {allowed}",
            estimate.value
        );
    };
    within(&parameters.high_v, pulse.high, 2e-3 * swing);
    within(&parameters.low_v, pulse.low, 2e-3 * swing);
    within(&parameters.frequency_hz, 1.0 / pulse.period, 1e-6 / pulse.period);
    within(
        &parameters.duty_at_half,
        pulse.above(0.5 * (pulse.low + pulse.high)) / pulse.period,
        1e-5,
    );
    within(&parameters.duty_at_zero, pulse.above(0.0) / pulse.period, 1e-5);
    within(&parameters.rise_s, 0.8 * pulse.rise, 0.01 * interval);
    within(&parameters.fall_s, 0.8 * pulse.fall, 0.01 * interval);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]
    #[test]
    fn any_trapezoid_is_found_within_its_own_uncertainty(
        high in 2.5_f64..13.0, duty in 0.05_f64..0.95, rise in 0.2e-6_f64..12e-6, fall in 0.2e-6_f64..14e-6,
        frequency in 950.0_f64..1050.0, delay in 0.0_f64..1e-3, interval in 0.2e-6_f64..2e-6,
    ) {
        let period = 1.0 / frequency;
        let pulse = Trapezoid { low: -12.0, high, period, on: duty * period, rise, fall };
        let samples = pulse.samples((0.02 / interval) as usize, interval, delay, 0.0);
        close(&analyse(&samples, interval).unwrap(), &pulse, interval);
    }

    #[test]
    fn no_samples_make_it_panic(samples in proptest::collection::vec(any::<f64>(), 0..400), interval in any::<f64>()) {
        let _ = analyse(&samples, interval);
    }

    #[test]
    fn coarse_samples_make_it_neither_panic_nor_invent(samples in proptest::collection::vec(-3i8..3, 3..600)) {
        let volts: Vec<f64> = samples.iter().map(|sample| f64::from(*sample)).collect();
        let found = analyse(&volts, 1e-6).unwrap();
        for ratio in [&found.duty_at_half, &found.duty_at_zero].into_iter().flatten() {
            prop_assert!((0.0..=1.0).contains(&ratio.value));
        }
        for time in [&found.rise_s, &found.fall_s, &found.period_s, &found.width_at_half_s].into_iter().flatten() {
            prop_assert!(time.value >= 0.0 && time.standard > 0.0);
        }
    }
}
