//! The amplitude of an alternating signal: rms over a sliding half period of the mains.

use super::event::{Event, crossings};
use crate::pulse::Lack;

/// Fraction of the envelope's span by which it must have been away from the level before a crossing counts again.
const HYSTERESIS: f64 = 0.02;

/// The rms at each position of the window.
#[derive(Debug, Clone)]
pub(super) struct Envelope {
    values: Vec<f64>,
    interval_s: f64,
    window: usize,
}

impl Envelope {
    pub(super) fn new(samples: &[f64], interval_s: f64, half_period_s: f64) -> Result<Self, Lack> {
        let window = (half_period_s / interval_s).round() as usize;
        // Fewer than four samples in a half period do not tell its rms.
        if window < 4 || samples.len() < window {
            return Err(Lack::TooFewSamples {
                have: samples.len().min(window),
                need: window.max(4),
            });
        }
        Ok(Self {
            values: sliding_rms(samples, window),
            interval_s,
            window,
        })
    }

    pub(super) fn values(&self) -> &[f64] {
        &self.values
    }

    /// From the middle of the window to its ends, in samples.
    pub(super) fn half_window(&self) -> f64 {
        0.5 * (self.window - 1) as f64
    }

    /// When the envelope passes a level: the middle of the window, and the window as bounds.
    pub(super) fn events(&self, level: f64, rises: bool) -> Vec<Event> {
        let top = self.values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let bottom = self.values.iter().copied().fold(f64::INFINITY, f64::min);
        let half_window = self.half_window();
        let event = |position: f64| {
            let middle = position + half_window;
            let earliest_s = (middle - half_window - 1.0).max(0.0) * self.interval_s;
            let latest_s = (middle + half_window + 1.0) * self.interval_s;
            Event::seen(middle * self.interval_s, (earliest_s, latest_s))
        };
        let found = crossings(
            &self.values,
            level,
            rises,
            (HYSTERESIS * (top - bottom)).min(0.5 * (level - bottom).abs()),
        );
        found.into_iter().map(event).collect()
    }
}

fn sliding_rms(samples: &[f64], window: usize) -> Vec<f64> {
    let mut sums = Vec::with_capacity(samples.len() + 1);
    let mut sum = 0.0;
    sums.push(sum);
    for sample in samples {
        sum += sample * sample;
        sums.push(sum);
    }
    let rms = |ends: &[f64]| ((ends[window] - ends[0]).max(0.0) / window as f64).sqrt();
    sums.windows(window + 1).map(rms).collect()
}
