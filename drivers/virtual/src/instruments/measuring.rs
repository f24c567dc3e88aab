//! What a multimeter makes of a voltage, and an instrument of power: each effect as one small function, with its definition.

use crate::physics::{Node, World};
use pilotage_core::RunTime;

/// Line frequency for which power line cycles are counted, Hz.
pub(crate) const LINE_HZ: f64 = 50.0;
/// Low corner of the AC path (its coupling), Hz.
const AC_LOW_HZ: f64 = 0.3;
/// High corner of the AC path, Hz.
const AC_HIGH_HZ: f64 = 1e6;
/// Crest factor up to which a full range can be read.
pub(crate) const HIGHEST_CREST: f64 = 3.0;
/// Relative error of the rms converter for each unit by which the square of the crest factor exceeds that of a sine.
const CREST_ERROR: f64 = -2.5e-4;
/// Room temperature about which nothing is added to the printed error, and how far around it, K.
const ADJUSTED_K: (f64, f64) = (296.15, 5.0);

/// Noise of a mean over some power line cycles against that over one: independent noise falls with the root of the time.
pub(crate) fn noise_by_cycles(cycles: f64) -> f64 {
    1.0 / libm::sqrt(cycles)
}

/// What the AC path passes of a frequency: a first-order coupling and a first-order roll-off, each 1/√2 at its corner.
pub(crate) fn ac_gain(hertz: f64) -> f64 {
    let (low, high) = (hertz / AC_LOW_HZ, hertz / AC_HIGH_HZ);
    low / libm::sqrt((1.0 + low * low) * (1.0 + high * high))
}

/// Mean of voltage times current over an aperture, from samples so many seconds apart.
pub(crate) fn power(
    world: &mut World,
    (volts, amps): (Node, Node),
    interval_s: f64,
    (from, to): (RunTime, RunTime),
) -> f64 {
    let count = libm::floor(to.since(from).as_secs_f64() / interval_s) as usize;
    let mut of = |node| {
        let mut values = Vec::with_capacity(count);
        world.samples(node, from, interval_s, count, &mut values);
        values
    };
    let (volts, amps) = (of(volts), of(amps));
    let energy: f64 = volts.iter().zip(&amps).map(|(v, i)| v * i).sum();
    energy / count.max(1) as f64
}

/// Highest deviation from the mean, divided by the rms of the deviations: 1 for a square, √2 for a sine, √3 for a
/// triangle, √((1 − D)/D) for a pulse of duty D below one half. `None` where nothing deviates.
pub(crate) fn crest_factor(values: &[f64]) -> Option<f64> {
    let mean = mean(values)?;
    let peak = values.iter().map(|value| libm::fabs(value - mean)).fold(0.0, f64::max);
    let square = values.iter().map(|value| (value - mean) * (value - mean)).sum::<f64>() / values.len() as f64;
    (square > 0.0).then(|| peak / libm::sqrt(square))
}

/// Relative error of a true rms converter at a crest factor: none for a sine.
pub(crate) fn crest_error(crest: f64) -> f64 {
    CREST_ERROR * (crest * crest - 2.0)
}

/// What a converter shows that takes the mean of the rectified deviations and is scaled for a sine: π/(2√2) = 1.1107 times
/// it. It reads a square 11 % too high, and a pulse of 10 % duty a third too low.
pub(crate) fn average_responding(values: &[f64]) -> f64 {
    let Some(mean) = mean(values) else { return 0.0 };
    let rectified = values.iter().map(|value| libm::fabs(value - mean)).sum::<f64>() / values.len() as f64;
    core::f64::consts::PI / (2.0 * core::f64::consts::SQRT_2) * rectified
}

/// A first-order filter that showed `before`, some time after it was given `now`.
pub(crate) fn settling(before: f64, now: f64, elapsed_s: f64, tau_s: f64) -> f64 {
    now + (before - now) * libm::exp(-elapsed_s / tau_s)
}

/// How far the room lies outside of the band in which the printed error holds, K, signed.
pub(crate) fn kelvin_outside(room_k: f64) -> f64 {
    let (middle, around) = ADJUSTED_K;
    let away = room_k - middle;
    away - away.clamp(-around, around)
}

fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const COUNT: u32 = 10_000;

    fn wave(of: impl Fn(f64) -> f64) -> Vec<f64> {
        (0..COUNT)
            .map(|k| of((f64::from(k) + 0.5) / f64::from(COUNT)))
            .collect()
    }

    fn sine() -> Vec<f64> {
        wave(|x| 230.0 * core::f64::consts::SQRT_2 * libm::sin(2.0 * core::f64::consts::PI * x))
    }

    fn triangle() -> Vec<f64> {
        wave(|x| 1.0 - 4.0 * libm::fabs(x - 0.5))
    }

    fn pulse(duty: f64) -> Vec<f64> {
        wave(move |x| if x < duty { 12.0 } else { 0.0 })
    }

    #[test]
    fn crest_factors_are_those_of_the_definition() {
        for (values, expected) in [
            (sine(), libm::sqrt(2.0)),
            (triangle(), libm::sqrt(3.0)),
            (pulse(0.5), 1.0),
            (pulse(0.1), 3.0),
        ] {
            let found = crest_factor(&values).unwrap();
            assert!((found - expected).abs() < 1e-3, "{found} {expected}");
        }
        assert_eq!(crest_factor(&[2.0; 5]), None);
        assert_eq!(crest_factor(&[]), None);
    }

    #[test]
    fn the_rms_converter_is_right_for_a_sine_and_low_for_peaks() {
        assert!(crest_error(libm::sqrt(2.0)).abs() < 1e-15);
        assert!((crest_error(3.0) + 1.75e-3).abs() < 1e-12);
        assert!((crest_error(1.0) - 2.5e-4).abs() < 1e-12);
    }

    #[test]
    fn an_average_responding_meter_is_right_for_a_sine_only() {
        let rms = |values: &[f64]| {
            let mean = mean(values).unwrap();
            libm::sqrt(values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / values.len() as f64)
        };
        // 2·√(D(1 − D))·π/(2√2): 0.666 at 10 %, 1.111 at 50 %; a triangle (1/2)·√3·π/(2√2) = 0.962.
        for (values, share) in [
            (sine(), 1.0),
            (pulse(0.1), 0.6664),
            (pulse(0.5), 1.1107),
            (triangle(), 0.9619),
        ] {
            let found = average_responding(&values) / rms(&values);
            assert!((found - share).abs() < 1e-3, "{found} {share}");
        }
    }

    #[test]
    fn the_ac_path_has_its_corners_and_is_flat_between() {
        for corner in [AC_LOW_HZ, AC_HIGH_HZ] {
            assert!((ac_gain(corner) - libm::sqrt(0.5)).abs() < 1e-6);
        }
        assert!(ac_gain(0.0).abs() < f64::MIN_POSITIVE);
        for hertz in [20.0, 50.0, 60.0, 420.0, 20_000.0] {
            assert!((ac_gain(hertz) - 1.0).abs() < 2.1e-4, "{hertz}");
        }
    }

    #[test]
    fn noise_filter_and_room() {
        assert!((noise_by_cycles(100.0) - 0.1).abs() < 1e-15);
        assert!((noise_by_cycles(0.25) - 2.0).abs() < 1e-15);
        // One time constant: 1/e of the step is left.
        assert!((settling(10.0, 0.0, 0.02, 0.02) - 3.678_794).abs() < 1e-6);
        assert!((settling(0.0, 5.0, 1.0, 0.02) - 5.0).abs() < 1e-12);
        for (celsius, outside) in [(23.0, 0.0), (18.5, 0.0), (28.0, 0.0), (40.0, 12.0), (-5.0, -23.0)] {
            assert!((kelvin_outside(celsius + 273.15) - outside).abs() < 1e-9, "{celsius}");
        }
    }
}
