//! The surge of an inrush: peak, time above a level, I²t.

use crate::pulse::Lack;
use crate::signal::levels;

/// An inrush in either direction, against a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surge {
    /// Largest magnitude of a sample, in A.
    pub peak: f64,
    /// Time in all during which the magnitude is above the level, in s.
    pub above_s: f64,
    /// Integral of the square over that time, in A²s.
    pub square_time: f64,
    /// Passages through the level: each moment is known to within a sample.
    pub passages: usize,
}

/// Looks at a whole capture, samples joined by straight lines. With a level of 0 the whole capture counts.
pub fn surge(samples: &[f64], interval_s: f64, above: f64) -> Result<Surge, Lack> {
    let peak = levels(samples)?.peak();
    if !(interval_s > 0.0 && interval_s.is_finite()) {
        return Err(Lack::NotPositive {
            what: "the time between samples",
            value: interval_s,
        });
    }
    let level = above.max(0.0);
    let mut surge = Surge {
        peak,
        above_s: 0.0,
        square_time: 0.0,
        passages: 0,
    };
    for pair in samples.windows(2) {
        if pair[0].abs() <= level && pair[1].abs() <= level {
            continue;
        }
        for (from, to) in [(pair[0], pair[1]), (-pair[0], -pair[1])] {
            let Some((from, to, share)) = part_above(from, to, level) else {
                continue;
            };
            let time_s = share * interval_s;
            surge.above_s += time_s;
            surge.square_time += time_s * (from * from + from * to + to * to) / 3.0;
            surge.passages += usize::from(share < 1.0);
        }
    }
    Ok(surge)
}

/// The part of a straight line that lies above a level: its ends, and its share of the whole.
fn part_above(from: f64, to: f64, level: f64) -> Option<(f64, f64, f64)> {
    match (from > level, to > level) {
        (true, true) => Some((from, to, 1.0)),
        (true, false) => Some((from, level, (from - level) / (from - to))),
        (false, true) => Some((level, to, (to - level) / (to - from))),
        (false, false) => None,
    }
}
