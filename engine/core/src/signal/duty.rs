//! The duty of each cycle of a pulse train, between its crossings of 0 V, and when it changes.

use super::event::{Event, crossings};
use super::levels::levels;
use crate::pulse::Lack;

/// Share of the whole span by which a pulse must have been away from 0 V before a crossing counts again.
const HYSTERESIS: f64 = 0.1;
/// A cycle that differs by more than this share from the stated period is none: the level stood.
const UNEVEN: f64 = 0.5;

/// One cycle, counted in samples.
#[derive(Debug, Clone, Copy)]
struct Cycle {
    rises: f64,
    falls: f64,
    ends: f64,
}

impl Cycle {
    fn duty(self) -> f64 {
        (self.falls - self.rises) / (self.ends - self.rises)
    }
}

/// The whole cycles of a capture, in order.
#[derive(Debug, Clone)]
pub(super) struct Duties {
    cycles: Vec<Cycle>,
    interval_s: f64,
}

impl Duties {
    /// The cycles of about one period. At least two make a change.
    pub(super) fn new(samples: &[f64], interval_s: f64, period_s: f64) -> Result<Self, Lack> {
        let hysteresis = HYSTERESIS * levels(samples)?.span();
        let rising = crossings(samples, 0.0, true, hysteresis);
        let falling = crossings(samples, 0.0, false, hysteresis);
        let period = period_s / interval_s;
        let cycle = |pair: &[f64]| {
            let (rises, ends) = (pair[0], pair[1]);
            let next = falling.partition_point(|moment| *moment <= rises);
            let falls = falling.get(next).copied().filter(|moment| *moment < ends)?;
            ((ends - rises - period).abs() <= UNEVEN * period).then_some(Cycle { rises, falls, ends })
        };
        let cycles: Vec<Cycle> = rising.windows(2).filter_map(cycle).collect();
        if cycles.len() < 2 {
            return Err(Lack::TooFewCycles {
                have: cycles.len(),
                need: 2,
                level: 0.0,
            });
        }
        Ok(Self { cycles, interval_s })
    }

    /// The duty of each cycle, from 0 to 1.
    pub(super) fn values(&self) -> Vec<f64> {
        self.cycles.iter().map(|cycle| cycle.duty()).collect()
    }

    /// When the duty passes a level.
    pub(super) fn events(&self, level: f64, rises: bool) -> Vec<Event> {
        let passes = |old: f64, new: f64| {
            if rises {
                old < level && new >= level
            } else {
                old > level && new <= level
            }
        };
        let pairs = self.cycles.windows(2);
        pairs
            .filter(|pair| passes(pair[0].duty(), pair[1].duty()))
            .map(|pair| self.between(pair[0], pair[1]))
            .collect()
    }

    /// Not before the old pulse ended, since it had its old width; not after the new one differs from it.
    fn between(&self, old: Cycle, new: Cycle) -> Event {
        let differs = new.rises + (old.falls - old.rises).min(new.falls - new.rises);
        Event::between(old.falls * self.interval_s, differs * self.interval_s)
    }
}
