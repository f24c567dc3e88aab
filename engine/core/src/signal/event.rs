//! Crossings of a level.

use crate::pulse::Lack;

/// When something happened, in seconds after the first sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Event {
    /// The best estimate.
    pub at_s: f64,
    /// Not before this.
    pub earliest_s: f64,
    /// Not after this.
    pub latest_s: f64,
    /// How much earlier an event like it may have come that is not to be seen; 0 where there is none.
    pub hidden_before_s: f64,
    /// How much later one may have come.
    pub hidden_after_s: f64,
}

impl Event {
    /// An event of a signal that shows all of them.
    pub(super) fn seen(at_s: f64, (earliest_s, latest_s): (f64, f64)) -> Self {
        Self {
            at_s,
            earliest_s,
            latest_s,
            hidden_before_s: 0.0,
            hidden_after_s: 0.0,
        }
    }

    /// The same, in the middle of its bounds.
    pub(super) fn between(earliest_s: f64, latest_s: f64) -> Self {
        Self::seen(0.5 * (earliest_s + latest_s), (earliest_s, latest_s))
    }

    /// Standard uncertainty: anywhere between the two bounds (JCGM 100, 4.3.7).
    pub fn standard_s(&self) -> f64 {
        crate::uncertainty::rectangular(0.5 * (self.latest_s - self.earliest_s))
    }

    /// How far away the event that is meant may lie if it is one that is not to be seen: the first one only earlier, the last one
    /// only later. The moment is not corrected for it, so the whole distance counts either way.
    pub fn hidden_s(&self, which: Which) -> f64 {
        match which {
            Which::First => self.hidden_before_s,
            Which::Last => self.hidden_after_s,
            Which::Number(_) => self.hidden_before_s.max(self.hidden_after_s),
        }
    }
}

/// Which of several events is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    /// The first.
    First,
    /// The last.
    Last,
    /// The n-th, from 1.
    Number(usize),
}

impl Which {
    /// Picks it among `events`, which are in order; `None` where there are too few.
    pub fn among(self, events: &[Event]) -> Option<Event> {
        match self {
            Self::First => events.first().copied(),
            Self::Last => events.last().copied(),
            Self::Number(number) => events.get(number.checked_sub(1)?).copied(),
        }
    }
}

/// Where samples cross a level, counted in samples: linear between the last sample before and the first one at or beyond
/// it. A crossing counts once the signal has been at least `hysteresis` on the near side since the last one.
pub fn crossings(samples: &[f64], level: f64, rises: bool, hysteresis: f64) -> Vec<f64> {
    let beyond = |sample: f64| if rises { sample - level } else { level - sample };
    let mut found = Vec::new();
    let mut armed = false;
    for (after, pair) in samples.windows(2).enumerate() {
        let (a, b) = (beyond(pair[0]), beyond(pair[1]));
        armed |= a < 0.0 && a <= -hysteresis;
        if armed && a < 0.0 && b >= 0.0 {
            found.push(after as f64 + a / (a - b));
            armed = false;
        }
    }
    found
}

/// The error for a part of a signal in which an event did not come.
pub(super) fn no_event(values: impl Iterator<Item = f64> + Clone, level: f64, rises: bool) -> Lack {
    Lack::NoEvent {
        way: way(rises),
        level,
        lowest: values.clone().fold(f64::INFINITY, f64::min),
        highest: values.fold(f64::NEG_INFINITY, f64::max),
    }
}

/// In words.
pub(super) fn way(rises: bool) -> &'static str {
    if rises { "rises" } else { "falls" }
}
