//! Ripple of a direct voltage or current within a stated bandwidth.
//!
//! A bandwidth means nothing without its filter. Here it is a low pass of first order, −3 dB at the bandwidth, worked out
//! exactly for samples joined by straight lines. What the instrument's own input lets through comes before it.

use super::lack::LineLack;
use super::window::Window;
use crate::pulse::Lack;
use crate::signal::levels;
use std::f64::consts::PI;

/// Fewest samples for each period of the bandwidth's frequency.
const LEAST_OVERSAMPLING: f64 = 10.0;
/// Time constants that are left out until the filter has settled: less than 0.01 % of the first step is left.
const SETTLES: f64 = 10.0;

/// Ripple behind the filter, in the unit of the samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ripple {
    /// Mean.
    pub mean: f64,
    /// Rms of what is left without the mean.
    pub rms: f64,
    /// Highest minus lowest sample.
    pub peak_to_peak: f64,
    /// By how much `peak_to_peak` may be too small, since a peak may lie between two samples.
    pub missed: f64,
}

/// The lowest rate for a bandwidth.
pub fn least_rate_hz(bandwidth_hz: f64) -> f64 {
    LEAST_OVERSAMPLING * bandwidth_hz
}

/// The shortest capture for a bandwidth.
pub fn least_length_s(bandwidth_hz: f64, rate_hz: f64) -> f64 {
    SETTLES / (PI * bandwidth_hz) + 5.0 / rate_hz
}

/// Ripple within a bandwidth in Hz. Mean and rms are weighted by a raised cosine over the capture, so that a part of a period at
/// its ends does not count: of ten periods or more they are within 0.01 %. The first ten time constants of the filter are left
/// out, and as much again must remain.
pub fn ripple(samples: &[f64], interval_s: f64, bandwidth_hz: f64) -> Result<Ripple, Lack> {
    for (what, value) in [
        ("the time between samples", interval_s),
        ("the bandwidth", bandwidth_hz),
    ] {
        if !(value > 0.0 && value.is_finite()) {
            return Err(Lack::NotPositive { what, value });
        }
    }
    let need_hz = least_rate_hz(bandwidth_hz);
    // A rate that was rounded in a file is no lower rate.
    if 1.0 / interval_s < need_hz * (1.0 - 1e-6) {
        let have_hz = 1.0 / interval_s;
        return Err(LineLack::TooSlow { have_hz, need_hz }.into());
    }
    levels(samples)?;
    let settled = (SETTLES / (2.0 * PI * bandwidth_hz * interval_s)).ceil() as usize;
    let need = settled.saturating_mul(2).saturating_add(3);
    if samples.len() < need {
        let have = samples.len();
        return Err(Lack::TooFewSamples { have, need });
    }
    let filtered = low_pass(samples, 2.0 * PI * bandwidth_hz * interval_s);
    Ok(told(&filtered[settled..]))
}

fn told(filtered: &[f64]) -> Ripple {
    let length = filtered.len() as f64;
    let window = Window::raised_cosine(0.5 * (length - 1.0), length);
    let mean = window.mean(|index| filtered[index]);
    let square = window.mean(|index| (filtered[index] - mean) * (filtered[index] - mean));
    let (lowest, highest) = filtered
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(*value), high.max(*value))
        });
    // A parabola through three samples is higher than the highest one by at most an eighth of its second difference; so at
    // both ends of the span.
    let bends = filtered
        .windows(3)
        .map(|three| (three[0] - 2.0 * three[1] + three[2]).abs());
    Ripple {
        mean,
        rms: libm::sqrt(square.max(0.0)),
        peak_to_peak: highest - lowest,
        missed: bends.fold(0.0, f64::max) / 4.0,
    }
}

/// The first-order low pass for straight lines between samples; `step` is the interval in time constants.
fn low_pass(samples: &[f64], step: f64) -> Vec<f64> {
    let kept = libm::exp(-step);
    let slope = -libm::expm1(-step) / step;
    let mut before = samples[0];
    let mut value = samples[0];
    let next = |sample: &f64| {
        value = kept * value + (slope - kept) * before + (1.0 - slope) * sample;
        before = *sample;
        value
    };
    samples.iter().map(next).collect()
}
