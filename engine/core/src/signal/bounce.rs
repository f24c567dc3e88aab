//! Re-openings of a closing contact, seen in the voltage behind it.

use super::levels::levels;
use crate::pulse::Lack;
use std::f64::consts::PI;

/// What must be known to tell a bounce from a zero crossing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Closing {
    /// Time between samples.
    pub interval_s: f64,
    /// Below this the contact may be open, in the unit of the samples.
    pub level: f64,
    /// Frequency of the mains; 0 for a direct voltage.
    pub mains_hz: f64,
    /// How long after the first contact bounces are looked for.
    pub within_s: f64,
}

/// How often the contact opened again after it first closed. A gap counts where the signal stays below the level for longer
/// than a sine of its amplitude does at a zero crossing, by a tenth of that time and two samples; shorter bounces, and those
/// that fall into a zero crossing, are not seen.
pub fn bounces(samples: &[f64], closing: &Closing) -> Result<usize, Lack> {
    if !(closing.interval_s > 0.0 && closing.interval_s.is_finite()) {
        return Err(Lack::NotPositive {
            what: "the time between samples",
            value: closing.interval_s,
        });
    }
    let all = levels(samples)?;
    let peak = all.highest.max(-all.lowest);
    let Some(first) = samples.iter().position(|sample| sample.abs() >= closing.level) else {
        return Err(Lack::NoEvent {
            way: "rises",
            level: closing.level,
            lowest: all.lowest,
            highest: all.highest,
        });
    };
    let longest = natural_gap(closing, peak) / closing.interval_s;
    let end = samples.len().min(
        first
            .saturating_add((closing.within_s / closing.interval_s) as usize)
            .saturating_add(1),
    );
    let closed = (first..end).filter(|index| samples[*index].abs() >= closing.level);
    let mut last = first;
    let mut count = 0;
    for index in closed {
        let gap = (index - last).saturating_sub(1);
        count += usize::from(gap as f64 > 1.1 * longest + 2.0);
        last = index;
    }
    Ok(count)
}

/// How long a sine of this peak stays below the level at a zero crossing.
fn natural_gap(closing: &Closing, peak: f64) -> f64 {
    if closing.mains_hz <= 0.0 || peak <= 0.0 {
        return 0.0;
    }
    libm::asin((closing.level / peak).clamp(0.0, 1.0)) / (PI * closing.mains_hz)
}
