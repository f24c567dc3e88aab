//! Transitions between two thresholds, and the moments when a level is crossed.
//!
//! A transition leaves one threshold and reaches the other (IEEE 181, 5.3): what turns back half-way (a runt, noise on a
//! slow edge) is none. The moment of a crossing is interpolated linearly between two samples.

use super::blocks::Blocks;

/// A passage from beyond one threshold to beyond the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Transition {
    /// Last sample before it left the old side.
    pub(super) from: usize,
    /// First sample on the new side.
    pub(super) to: usize,
    pub(super) rising: bool,
}

/// All transitions in order; they alternate.
pub(super) fn transitions(blocks: &Blocks<'_>, lower: f64, upper: f64) -> Vec<Transition> {
    let mut found = Vec::new();
    let mut was_high: Option<bool> = None;
    for (start, block, samples) in blocks.iter() {
        // A block that does not reach the other side cannot end a transition.
        let nothing_new = match was_high {
            Some(true) => block.lowest > lower,
            Some(false) => block.highest < upper,
            None => block.lowest > lower && block.highest < upper,
        };
        if nothing_new {
            continue;
        }
        for (offset, sample) in samples.iter().enumerate() {
            let is_high = match was_high {
                Some(true) | None if *sample <= lower => false,
                Some(false) | None if *sample >= upper => true,
                _ => continue,
            };
            if was_high.is_some() {
                found.push(transition(blocks.samples, start + offset, is_high, lower, upper));
            }
            was_high = Some(is_high);
        }
    }
    found
}

fn transition(samples: &[f64], to: usize, rising: bool, lower: f64, upper: f64) -> Transition {
    let on_old_side = |sample: f64| if rising { sample <= lower } else { sample >= upper };
    let from = samples[..to]
        .iter()
        .rposition(|sample| on_old_side(*sample))
        .unwrap_or(0);
    Transition { from, to, rising }
}

/// When a level between the thresholds is first crossed in a transition, counted in samples from the start of the capture.
pub(super) fn crossing(samples: &[f64], transition: Transition, level: f64) -> f64 {
    let reached = |sample: f64| {
        if transition.rising {
            sample >= level
        } else {
            sample <= level
        }
    };
    let inside = &samples[transition.from + 1..=transition.to];
    let behind = inside
        .iter()
        .position(|sample| reached(*sample))
        .unwrap_or(inside.len() - 1);
    let after = transition.from + 1 + behind;
    interpolated(samples, after, level)
}

/// When the threshold that a transition leaves is crossed.
pub(super) fn departure(samples: &[f64], transition: Transition, threshold: f64) -> f64 {
    interpolated(samples, transition.from + 1, threshold)
}

/// When the threshold that a transition reaches is crossed.
pub(super) fn arrival(samples: &[f64], transition: Transition, threshold: f64) -> f64 {
    interpolated(samples, transition.to, threshold)
}

fn interpolated(samples: &[f64], after: usize, level: f64) -> f64 {
    let (a, b) = (samples[after - 1], samples[after]);
    let step = b - a;
    let part = if step == 0.0 {
        1.0
    } else {
        ((level - a) / step).clamp(0.0, 1.0)
    };
    (after - 1) as f64 + part
}
