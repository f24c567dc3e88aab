//! How a signal comes to a new value: until when, and how far beyond on the way.

use crate::pulse::Lack;
use crate::signal::levels;

/// Share of the values behind the change that tells the new value.
const LAST: f64 = 0.1;
/// Fewest values that tell a level.
const FEWEST: usize = 3;

/// Values of a signal with their times.
#[derive(Debug, Clone, Copy)]
pub struct Trace<'a> {
    /// The values.
    pub values: &'a [f64],
    /// Time between them.
    pub interval_s: f64,
    /// Time of the first one.
    pub first_s: f64,
    /// A value stands for what happens within this time before and after it (half the window of an envelope, else 0).
    pub half_width_s: f64,
}

/// A change from an old value to a new one, in the unit of the signal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Response {
    /// Mean before the change; none where the capture began too late for it.
    pub before: Option<f64>,
    /// Mean over the last tenth behind the change.
    pub after: f64,
    /// Time from the change until the signal is within the band about its new value and stays there, in s; 0 where it never
    /// was outside.
    pub time_s: f64,
    /// The time is known to within this, either way.
    pub time_half_width_s: f64,
    /// Highest value behind the change.
    pub highest: f64,
    /// Lowest value behind the change.
    pub lowest: f64,
}

impl Response {
    /// How far it went above both values.
    pub fn overshoot(&self) -> Option<f64> {
        self.before
            .map(|before| (self.highest - before.max(self.after)).max(0.0))
    }

    /// How far it went below both values.
    pub fn undershoot(&self) -> Option<f64> {
        self.before
            .map(|before| (before.min(self.after) - self.lowest).max(0.0))
    }
}

/// The response to what happened at `change_s`. The band is a share of the new value, either way. A signal that leaves the band
/// within the last tenth of the trace has not settled, and has no response.
pub fn response(trace: &Trace<'_>, change_s: f64, band: f64) -> Result<Response, Lack> {
    levels(trace.values)?;
    let time = |index: usize| trace.first_s + index as f64 * trace.interval_s;
    // Values whose window reaches over the change belong to neither side.
    let old = (0..trace.values.len())
        .take_while(|index| time(*index) + trace.half_width_s <= change_s)
        .count();
    let new = (old..trace.values.len())
        .find(|index| time(*index) >= change_s)
        .unwrap_or(trace.values.len());
    let behind = &trace.values[new..];
    let last = (behind.len() as f64 * LAST) as usize;
    if last < FEWEST {
        return Err(Lack::TooFewSamples {
            have: last,
            need: FEWEST,
        });
    }
    let before = (old >= FEWEST).then(|| mean(&trace.values[..old]));
    let after = mean(&behind[behind.len() - last..]);
    let half_width = band * after.abs();
    let outside = |value: f64| (value - after).abs() > half_width;
    let end = behind.iter().rposition(|value| outside(*value));
    if let Some(end) = end.filter(|end| *end >= behind.len() - last) {
        return Err(Lack::NotSettled {
            after: time(new + end) - change_s,
            to: after,
        });
    }
    let at = |index: usize| {
        let into = crossing(behind[index], behind[index + 1], after, half_width);
        time(new + index) + into * trace.interval_s - change_s
    };
    Ok(Response {
        before,
        after,
        time_s: end.map_or(0.0, at).max(0.0),
        time_half_width_s: trace.half_width_s + 0.5 * trace.interval_s,
        highest: behind.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        lowest: behind.iter().copied().fold(f64::INFINITY, f64::min),
    })
}

/// Where a straight line from outside of a band to its inside enters it, from 0 to 1.
fn crossing(outside: f64, inside: f64, middle: f64, half_width: f64) -> f64 {
    let edge = if outside > middle {
        middle + half_width
    } else {
        middle - half_width
    };
    ((edge - outside) / (inside - outside)).clamp(0.0, 1.0)
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}
