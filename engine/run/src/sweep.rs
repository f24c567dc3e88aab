//! The last sweep: what was read at each of its points, there and back.

use crate::values::{Known, interval, missing};
use pilotage_core::{Contribution, Datum, Measured, NoValue, Uncertainty};
use std::collections::BTreeMap;

/// Points of a sweep in the order in which they were set.
#[derive(Debug, Clone, Default)]
pub(crate) struct Sweep {
    points: Vec<BTreeMap<String, (u64, Datum)>>,
    looked_at: bool,
}

/// What is looked for in a sweep.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Crossing<'c> {
    pub(crate) of: &'c str,
    pub(crate) through: &'c str,
    pub(crate) rises: bool,
    pub(crate) level_si: f64,
    pub(crate) back: bool,
}

/// What was found: the value, and the readings that it rests on.
pub(crate) type Found = (Datum, BTreeMap<String, u64>);

impl Sweep {
    /// Forgets all.
    pub(crate) fn clear(&mut self) {
        *self = Self::default();
    }

    /// The swept point was set: its readings follow. After a look, this is the first point of another sweep.
    pub(crate) fn next_point(&mut self) {
        if self.looked_at {
            self.clear();
        }
        self.points.push(BTreeMap::new());
    }

    /// A reading at the point that was set last.
    pub(crate) fn add(&mut self, known: &Known) {
        self.put(&known.reading.name, known.seq, known.datum());
    }

    fn put(&mut self, name: &str, seq: u64, datum: Datum) {
        if let (Some(point), false) = (self.points.last_mut(), self.looked_at) {
            point.insert(name.to_owned(), (seq, datum));
        }
    }

    /// The wanted reading's value where the other one crosses the level: between two points, so an interval.
    pub(crate) fn find(&mut self, wanted: Crossing<'_>) -> Found {
        self.looked_at = true;
        let turn = self.turn();
        let way = if wanted.back {
            &self.points[self.back(turn)..]
        } else {
            &self.points[..self.points.len().min(turn + 1)]
        };
        for pair in way.windows(2) {
            match crosses(&pair[0], &pair[1], wanted) {
                Ok(true) => return between(&pair[0], &pair[1], wanted),
                Ok(false) => {}
                Err(reason) => return (Err(reason), BTreeMap::new()),
            }
        }
        let direction = if wanted.rises { "rise" } else { "fall" };
        let why = format!(
            "`{}` did not {direction} through its level in this sweep",
            wanted.through
        );
        (Err(missing(why)), BTreeMap::new())
    }

    /// Where the turning point is set and read once more, the way back is complete without its first reading.
    fn back(&self, turn: usize) -> usize {
        let settings = [self.points.get(turn), self.points.get(turn + 1)].map(|point| point.and_then(setting));
        if settings[0].is_some() && settings[0] == settings[1] {
            turn + 1
        } else {
            turn
        }
    }

    /// Index of the point where the way back begins: where two following points were set to the same value, or where the
    /// settings turn; the last one where they never do.
    fn turn(&self) -> usize {
        let last = self.points.len().saturating_sub(1);
        let settings: Vec<f64> = self.points.iter().filter_map(setting).collect();
        if settings.len() != self.points.len() {
            return last;
        }
        let step = |place: usize| settings[place + 1] - settings[place];
        (1..last)
            .find(|place| step(*place) * step(place - 1) <= 0.0)
            .unwrap_or(last)
    }
}

/// The first reading of a point is what it was set to.
fn setting(point: &BTreeMap<String, (u64, Datum)>) -> Option<f64> {
    let first = point.values().min_by_key(|(seq, _)| *seq)?;
    first.1.as_ref().ok().map(|measured| measured.value.si())
}

fn value(point: &BTreeMap<String, (u64, Datum)>, name: &str) -> Result<(u64, Measured), NoValue> {
    let (seq, datum) = point
        .get(name)
        .ok_or_else(|| missing(format!("`{name}` was not read in this sweep")))?;
    Ok((*seq, datum.clone()?))
}

type Point = BTreeMap<String, (u64, Datum)>;

fn crosses(from: &Point, to: &Point, wanted: Crossing<'_>) -> Result<bool, NoValue> {
    let before = value(from, wanted.through)?.1.value.si();
    let after = value(to, wanted.through)?.1.value.si();
    let level = wanted.level_si;
    Ok(if wanted.rises {
        before < level && after >= level
    } else {
        before > level && after <= level
    })
}

fn between(from: &Point, to: &Point, wanted: Crossing<'_>) -> Found {
    let mut rests_on = BTreeMap::new();
    for name in [wanted.of, wanted.through] {
        if let Some((seq, _)) = to.get(name) {
            rests_on.insert(name.to_owned(), *seq);
        }
    }
    (middle(from, to, wanted.of), rests_on)
}

/// The middle of two readings: each goes in by half, and the interval between them is a contribution of its own.
fn middle(from: &Point, to: &Point, name: &str) -> Datum {
    let (before, after) = (value(from, name)?.1, value(to, name)?.1);
    let (a, b) = (before.value, after.value);
    let mut found = interval(
        a.si().min(b.si()),
        a.si().max(b.si()),
        a.dimension(),
        "between two points of the sweep",
    )?;
    found.uncertainty = match (found.uncertainty, before.uncertainty, after.uncertainty) {
        (Uncertainty::Known(own), Uncertainty::Known(a), Uncertainty::Known(b)) => {
            Uncertainty::Known(own.into_iter().chain(halved(a)).chain(halved(b)).collect())
        }
        (Uncertainty::Unknown(why), ..) | (_, Uncertainty::Unknown(why), _) | (.., Uncertainty::Unknown(why)) => {
            Uncertainty::Unknown(why)
        }
    };
    Ok(found)
}

fn halved(terms: Vec<Contribution>) -> impl Iterator<Item = Contribution> {
    terms.into_iter().map(|term| term.times(0.5))
}

#[cfg(test)]
mod tests {
    use super::{Crossing, Sweep};
    use pilotage_core::{Dimension, Measured, NoValue, Quantity};

    /// A switch that closes at 4 V on the way there and opens at 2 V on the way back.
    fn hysteresis() -> Sweep {
        let mut sweep = Sweep::default();
        let mut seq = 0;
        let mut closed = false;
        let there = [1.0, 2.0, 3.0, 4.0, 5.0];
        for v in there.into_iter().chain(there.into_iter().rev()) {
            closed = if closed { v > 2.0 } else { v >= 4.0 };
            sweep.next_point();
            for (name, si) in [("v_set", v), ("out", if closed { 230.0 } else { 0.0 })] {
                let datum = Ok(Measured::exact(Quantity::new(si, Dimension::VOLTAGE).expect("finite")));
                sweep.put(name, seq, datum);
                seq += 1;
            }
        }
        sweep
    }

    fn look(sweep: &mut Sweep, rises: bool, back: bool) -> Result<f64, NoValue> {
        let wanted = Crossing {
            of: "v_set",
            through: "out",
            rises,
            level_si: 80.0,
            back,
        };
        sweep.find(wanted).0.map(|found| found.value.si())
    }

    #[test]
    fn there_and_back_are_two_ways() {
        let mut sweep = hysteresis();
        assert_eq!(look(&mut sweep, true, false), Ok(3.5));
        assert_eq!(look(&mut sweep, false, true), Ok(2.5));
        assert!(matches!(look(&mut sweep, true, true), Err(NoValue::Missing(_))));
        assert!(matches!(look(&mut sweep, false, false), Err(NoValue::Missing(_))));
    }

    #[test]
    fn after_a_look_another_sweep_begins() {
        let mut sweep = hysteresis();
        assert_eq!(look(&mut sweep, true, false), Ok(3.5));
        sweep.next_point();
        assert!(matches!(look(&mut sweep, true, false), Err(NoValue::Missing(_))));
    }

    #[test]
    fn a_point_without_value_gives_no_crossing() {
        let mut sweep = hysteresis();
        sweep.points[2].insert("out".to_owned(), (99, Err(NoValue::NotANumber)));
        assert_eq!(look(&mut sweep, true, false), Err(NoValue::NotANumber));
    }
}
