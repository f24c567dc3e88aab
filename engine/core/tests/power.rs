//! Power, harmonics, ripple, surges and responses of waveforms that are known in closed form.
#![allow(clippy::unwrap_used)]

use pilotage_core::power::{
    Grouping, Harmonics, Lack, Line, LineLack, Power, PowerAnalysis, Trace, response, ripple, surge,
};
use proptest::prelude::*;
use std::f64::consts::{PI, SQRT_2};

fn near(what: &str, found: f64, wanted: f64, absolute: f64) {
    assert!(
        (found - wanted).abs() <= absolute,
        "{what}: found {found}, wanted {wanted} ± {absolute}"
    );
}

/// Rms, frequency and phase of each part of a wave.
type Parts<'a> = &'a [(f64, f64, f64)];

fn wave(parts: Parts<'_>, rate_hz: f64, length_s: f64) -> Vec<f64> {
    let at = |index: usize| {
        let time = index as f64 / rate_hz;
        let part = |(rms, hz, phase): &(f64, f64, f64)| SQRT_2 * rms * (2.0 * PI * hz * time + phase).sin();
        parts.iter().map(part).sum()
    };
    (0..(rate_hz * length_s) as usize).map(at).collect()
}

fn whole(volts: &[f64], amps: &[f64], rate_hz: f64) -> Power {
    let line = Line::of(volts, 1.0 / rate_hz).unwrap();
    *PowerAnalysis::of(volts, amps, &line).unwrap().whole()
}

fn harmonics(parts: Parts<'_>, hz: f64, rate_hz: f64, length_s: f64) -> Harmonics {
    let volts = wave(&[(230.0, hz, 0.3)], rate_hz, length_s);
    let line = Line::of(&volts, 1.0 / rate_hz).unwrap();
    Harmonics::of(&wave(parts, rate_hz, length_s), &line).unwrap()
}

/// The signal and its results, computed with another program's FFT: 50 Hz 16 A, third 2.30 A, fifth 1.14 A, 155 Hz 0.5 A.
#[test]
fn a_known_current_has_its_known_harmonics_and_groups() {
    let parts = [
        (16.0, 50.0, 0.0),
        (2.30, 150.0, 0.4),
        (1.14, 250.0, 1.1),
        (0.5, 155.0, 2.0),
    ];
    let found = harmonics(&parts, 50.0, 20e3, 0.42);
    let order = |order, grouping| found.order(order, grouping).unwrap().value;
    assert_eq!(found.windows(), 2);
    near("line 3", order(3, Grouping::Line), 2.3, 5e-5);
    near("subgroup 3", order(3, Grouping::Subgroup), 2.3537, 5e-5);
    near("group 3", order(3, Grouping::Group), 2.3537, 5e-5);
    near("THD", found.distortion(Grouping::Line).unwrap().value, 0.16044, 5e-6);
    let volts = wave(&[(230.0, 50.0, 0.3)], 20e3, 0.42);
    near(
        "rms",
        whole(&volts, &wave(&parts, 20e3, 0.42), 20e3).amps.rms,
        16.2123,
        5e-5,
    );
}

/// IEEE 1459, 3.1.2: P is the sum of the products of equal orders times their cosines; S = U·I; N² = S² − P².
/// At high rates the samples are condensed first; ripple far above the orders must not fold down into them.
#[test]
fn harmonics_at_a_high_rate_are_the_same() {
    let low = [(16.0, 49.9, 0.0), (2.30, 149.7, 0.4), (0.05, 1946.1, 1.1)];
    let mut high = low.to_vec();
    high.extend([(0.5, 65e3, 0.3), (0.2, 12.7e3, 0.1)]);
    for rate in [20e3, 200e3, 1e6] {
        let parts: Parts<'_> = if rate > 100e3 { &high } else { &low };
        let found = harmonics(parts, 49.9, rate, 0.21);
        for (order, wanted) in [(1, 16.0), (3, 2.3), (39, 0.05), (40, 0.0)] {
            let amps = found.order(order, Grouping::Line).unwrap().value;
            near(&format!("order {order} at {rate}"), amps, wanted, 5e-6);
        }
    }
}

#[test]
fn power_of_distorted_waves_follows_the_sums_of_the_definition() {
    let (u, i) = (
        [(230.0, 49.7, 0.2), (9.2, 149.1, 1.0)],
        [(16.0, 49.7, -0.3), (2.3, 149.1, 0.1), (1.1, 248.5, 0.7)],
    );
    let power = whole(&wave(&u, 12_345.0, 0.5), &wave(&i, 12_345.0, 0.5), 12_345.0);
    let p1 = 230.0 * 16.0 * 0.5_f64.cos();
    let p = p1 + 9.2 * 2.3 * 0.9_f64.cos();
    let s = 230.0_f64.hypot(9.2) * 16.0_f64.hypot(2.3).hypot(1.1);
    near("P", power.active_w, p, 1e-6 * p);
    near("S", power.apparent_va(), s, 1e-6 * s);
    near("N", power.non_active_var(), (s * s - p * p).sqrt(), 1e-5 * s);
    near("PF", power.factor(), p / s, 1e-6);
    near("cos φ₁", power.displacement(), 0.5_f64.cos(), 1e-6);
    near("φ₁ lags", power.displacement_angle(), 0.5, 1e-6);
    near("Q₁", power.fundamental_reactive_var, 3680.0 * 0.5_f64.sin(), 1e-3);
}

#[test]
fn efficiency_takes_both_sides_over_the_same_cycles() {
    let rate = 20e3;
    let volts = wave(&[(230.0, 50.3, 0.0)], rate, 0.35);
    let amps = wave(&[(16.0, 50.3, 0.0)], rate, 0.35);
    let line = Line::of(&volts, 1.0 / rate).unwrap();
    let input = PowerAnalysis::of(&volts, &amps, &line).unwrap();
    // The direct side carries the ripple of twice the line: 400 V, 8.5 A with 5 % swing.
    let swing = wave(&[(0.3, 100.6, 0.5)], rate, 0.35);
    let out_amps: Vec<f64> = swing.iter().map(|swing| 8.5 + swing).collect();
    let output = PowerAnalysis::of(&vec![400.0; volts.len()], &out_amps, &line).unwrap();
    near("efficiency", output.efficiency(&input).value, 3400.0 / 3680.0, 1e-6);
}

#[test]
fn what_has_no_whole_cycles_is_refused() {
    let rate = 20e3;
    let line = |samples: &[f64]| Line::of(samples, 1.0 / rate).unwrap_err();
    assert!(matches!(line(&vec![325.0; 8000]), Lack::Steady { .. }));
    let short = line(&wave(&[(230.0, 50.0, 0.0)], rate, 0.03));
    assert!(matches!(short, Lack::Line(LineLack::TooFewCycles { .. })), "{short}");
    let mut jumps = wave(&[(230.0, 50.0, 0.0)], rate, 0.2);
    jumps.extend(wave(&[(230.0, 60.0, 0.0)], rate, 0.2));
    assert!(matches!(line(&jumps), Lack::Line(LineLack::Unsteady { .. })));
    let few = Line::of(&wave(&[(230.0, 50.0, 0.0)], 900.0, 0.4), 1.0 / 900.0).unwrap_err();
    assert!(matches!(few, Lack::Line(LineLack::TooSlow { .. })), "{few}");
    let volts = wave(&[(230.0, 50.0, 0.0)], rate, 0.15);
    let found = Harmonics::of(&volts, &Line::of(&volts, 1.0 / rate).unwrap()).unwrap_err();
    assert!(
        matches!(found, Lack::Line(LineLack::TooFewCycles { have: 7, need: 10 })),
        "{found}"
    );
    let odd = wave(&[(230.0, 400.0, 0.0)], rate, 0.3);
    let found = Harmonics::of(&odd, &Line::of(&odd, 1.0 / rate).unwrap()).unwrap_err();
    assert!(matches!(found, Lack::Line(LineLack::NoMains { .. })), "{found}");
    let slow = harmonics(&[(16.0, 50.0, 0.0)], 50.0, 2e3, 0.3);
    near("order 7", slow.order(7, Grouping::Line).unwrap().value, 0.0, 1e-3);
    let found = slow.order(40, Grouping::Line).unwrap_err();
    assert!(matches!(found, Lack::Line(LineLack::TooSlow { .. })), "{found}");
}

/// A first-order low pass: a sine falls to 1/√(1 + (f/f₀)²).
#[test]
fn ripple_is_that_behind_the_filter() {
    let (rate, bandwidth) = (500e3, 20e3);
    for hz in [100.0, 5e3, 20e3, 40e3] {
        let swing = wave(&[(1.0, hz, 0.7)], rate, 0.2);
        let samples: Vec<f64> = swing.iter().map(|swing| 400.0 + swing).collect();
        let found = ripple(&samples, 1.0 / rate, bandwidth).unwrap();
        let rms = 1.0 / 1.0_f64.hypot(hz / bandwidth);
        near("mean", found.mean, 400.0, 1e-6);
        // Samples are joined by straight lines, which are lower than the sine between them by (π·f/rate)²/6 each.
        near("rms", found.rms, rms, rms * (1e-4 + (PI * hz / rate).powi(2) / 3.0));
        let whole = 2.0 * SQRT_2 * rms;
        assert!(found.peak_to_peak <= whole * 1.001 && found.peak_to_peak + found.missed >= whole * 0.975);
    }
    assert!(matches!(
        ripple(&[0.0; 1000], 1e-5, 20e3),
        Err(Lack::Line(LineLack::TooSlow { .. }))
    ));
}

/// 200 A·exp(−t/1 ms) both ways: I²t = I²τ/2; above 20 A for τ·ln 10.
#[test]
fn a_surge_has_its_peak_its_time_and_its_square_time() {
    let rate = 1e6;
    let decay: Vec<f64> = (0..20_000)
        .map(|index| -200.0 * (-f64::from(index) / rate / 1e-3).exp())
        .collect();
    let found = surge(&decay, 1.0 / rate, 20.0).unwrap();
    near("peak", found.peak, 200.0, 1e-9);
    near("time above", found.above_s, 1e-3 * 10.0_f64.ln(), 1e-8);
    let whole = 200.0 * 200.0 * 0.5e-3;
    near("I²t above", found.square_time, whole * 0.99, 1e-4 * whole);
    near(
        "I²t",
        surge(&decay, 1.0 / rate, 0.0).unwrap().square_time,
        whole,
        1e-4 * whole,
    );
}

/// A second-order system, ζ = 0.5 and ω = 1: overshoot 16.3034 %, 2 % settling 8.0763 s (textbook, by root finding).
#[test]
fn a_response_has_its_time_and_overshoot() {
    let (zeta, step_at) = (0.5_f64, 5.0);
    let beta = (1.0 - zeta * zeta).sqrt();
    let values: Vec<f64> = (0..60_000)
        .map(|index| {
            let time = f64::from(index) * 1e-3 - step_at;
            if time < 0.0 {
                return 0.0;
            }
            1.0 - (-zeta * time).exp() * ((beta * time).cos() + zeta / beta * (beta * time).sin())
        })
        .collect();
    let trace = Trace {
        values: &values,
        interval_s: 1e-3,
        first_s: 0.0,
        half_width_s: 0.0,
    };
    let found = response(&trace, step_at, 0.02).unwrap();
    near("overshoot", found.overshoot().unwrap(), 0.163_034, 1e-6);
    near("undershoot", found.undershoot().unwrap(), 0.0, 1e-9);
    near("settling", found.time_s, 8.0763, 1e-3);
    // A capture that begins with the change knows no value before it, but the time.
    let late = Trace {
        values: &values[5_000..],
        first_s: step_at,
        ..trace
    };
    let found = response(&late, step_at, 0.02).unwrap();
    near("settling without a before", found.time_s, 8.0763, 1e-3);
    assert_eq!(found.overshoot(), None);
    let early = Trace {
        values: &values[..7_500],
        ..trace
    };
    assert!(matches!(response(&early, step_at, 0.02), Err(Lack::NotSettled { .. })));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn power_scales_and_stands_still_when_the_capture_begins_later(
        hz in 45.0..65.0_f64, rate in 4e3..40e3_f64, phase in -3.0..3.0_f64, lag in -1.4..1.4_f64, third in 0.0..0.4_f64,
        up in 0.01..100.0_f64, later in 0.0..0.05_f64,
    ) {
        let volts = |begin: f64| wave(&[(230.0, hz, phase + 2.0 * PI * hz * begin)], rate, 0.25);
        let amps = |begin: f64, up: f64| {
            let turn = 2.0 * PI * hz * begin;
            let parts = [(10.0 * up, hz, phase - lag + turn), (10.0 * third * up, 3.0 * hz, 3.0 * turn)];
            wave(&parts, rate, 0.25)
        };
        let one = whole(&volts(0.0), &amps(0.0, 1.0), rate);
        let scaled = whole(&volts(0.0), &amps(0.0, up), rate);
        let shifted = whole(&volts(later), &amps(later, 1.0), rate);
        let s = one.apparent_va();
        prop_assert!((scaled.active_w - up * one.active_w).abs() <= 1e-9 * up * s);
        prop_assert!((scaled.factor() - one.factor()).abs() <= 1e-9);
        prop_assert!((shifted.active_w - one.active_w).abs() <= 1e-5 * s);
        prop_assert!((shifted.displacement_angle() - lag).abs() <= 1e-5);
        prop_assert!((shifted.amps.rms - one.amps.rms).abs() <= 1e-5 * one.amps.rms);
    }

    #[test]
    fn nothing_panics(
        samples in prop::collection::vec(prop_oneof![any::<f64>(), -400.0..400.0_f64], 0..2500), interval_s in any::<f64>(),
        hz in 10.0..2000.0_f64, noise in 0.0..500.0_f64, level in any::<f64>(),
    ) {
        let line = wave(&[(230.0, hz, 0.3)], 20e3, 0.12);
        let rough: Vec<f64> = line.iter().zip(samples.iter().cycle()).map(|(a, b)| a + noise * b.sin()).collect();
        for (samples, interval_s) in [(&samples, interval_s), (&samples, 5e-5), (&rough, 5e-5)] {
            if let Ok(line) = Line::of(samples, interval_s) {
                prop_assert!(line.frequency_hz() > 0.0);
                let _ = PowerAnalysis::of(samples, samples, &line).map(|found| found.estimate(Power::factor));
                let _ = Harmonics::of(samples, &line).map(|found| found.distortion(Grouping::Group));
            }
            let _ = ripple(samples, interval_s, 1e3);
            let _ = surge(samples, interval_s, level);
            let trace = Trace { values: samples, interval_s, first_s: 0.0, half_width_s: 0.0 };
            let _ = response(&trace, level, 0.05);
        }
    }

    /// Parseval: the groups of all orders hold everything but what lies below the first one, so that their squares add up to
    /// that of the rms; the power of the cycles is that of the whole.
    #[test]
    fn the_squares_of_the_groups_add_up_to_the_square_of_the_rms(
        hz in 49.0..51.0_f64, parts in prop::collection::vec((0.0..2.0_f64, 30.0..1900.0_f64, 0.0..6.0_f64), 1..12),
    ) {
        let mut all = vec![(16.0, hz, 0.0)];
        // On the lines of the window, where no part is seen in a line that is not its own.
        all.extend(parts.iter().map(|(rms, at, phase)| (*rms, (at * 10.0 / hz).round() * hz / 10.0, *phase)));
        let rate = 20e3;
        let volts = wave(&[(230.0, hz, 0.3)], rate, 0.21);
        let amps = wave(&all, rate, 0.21);
        let line = Line::of(&volts, 1.0 / rate).unwrap();
        let found = Harmonics::of(&amps, &line).unwrap();
        let squares: f64 = (1..=40).map(|order| found.order(order, Grouping::Group).unwrap().value.powi(2)).sum();
        let analysis = PowerAnalysis::of(&volts, &amps, &line).unwrap();
        let rms = analysis.whole().amps.rms;
        prop_assert!((squares.sqrt() - rms).abs() <= 2e-4 * rms, "{} against {rms}", squares.sqrt());
    }
}
