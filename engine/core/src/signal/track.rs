//! The highest value of each pulse period, and when it changes.

use super::event::Event;

/// A stretch of samples is this much longer than a period, so that a slow pulse still shows its high state in each.
const STRETCH: f64 = 1.03;
/// Samples this near to the highest of a stretch, as a fraction of the whole span, belong to its plateau.
const PLATEAU: f64 = 0.05;
/// A plateau lasts at least this fraction of a period; an edge passes faster.
const LEAST_PLATEAU: f64 = 0.02;

/// Samples cut into stretches of one period.
pub(super) struct Track<'a> {
    samples: &'a [f64],
    interval_s: f64,
    stretch: usize,
    plateau: f64,
    least: usize,
    highest: Vec<f64>,
}

impl<'a> Track<'a> {
    pub(super) fn new(samples: &'a [f64], interval_s: f64, period_s: f64) -> Self {
        let period = period_s / interval_s;
        let stretch = ((STRETCH * period).ceil() as usize).max(1);
        let highest: Vec<f64> = whole_stretches(samples, stretch)
            .map(|part| part.iter().copied().fold(f64::NEG_INFINITY, f64::max))
            .collect();
        let top = samples.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let bottom = samples.iter().copied().fold(f64::INFINITY, f64::min);
        Self {
            samples,
            interval_s,
            stretch,
            plateau: PLATEAU * (top - bottom),
            least: ((LEAST_PLATEAU * period).ceil() as usize).max(2),
            highest,
        }
    }

    /// The highest value of each stretch. The rest of less than a period at the end is left out, since it may lie between
    /// two pulses.
    pub(super) fn highest(&self) -> Vec<f64> {
        self.highest.clone()
    }

    /// When the highest value passes a level.
    pub(super) fn events(&self, level: f64, rises: bool) -> Vec<Event> {
        let mut found = Vec::new();
        for (number, pair) in self.highest.windows(2).enumerate() {
            let (a, b) = (pair[0], pair[1]);
            if rises && a < level && b >= level {
                found.push(self.rise(number, level));
            }
            if !rises && a > level && b <= level {
                found.push(self.fall(number, level));
            }
        }
        found
    }

    /// Between stretch `number` and the next: the last sample above the level, then the start of the new plateau; where
    /// the next stretch shows no plateau (a spike, a pulse of one sample), its end.
    fn fall(&self, number: usize, level: f64) -> Event {
        let start = number * self.stretch;
        let end = self.end_of(number + 1);
        let old = &self.samples[start..start + self.stretch];
        let last = start + old.iter().rposition(|sample| *sample > level).unwrap_or(0);
        let on_plateau = |index: &usize| self.samples[*index] >= self.highest[number + 1] - self.plateau;
        let first = self.run(last + 1..end, on_plateau);
        self.between(last, first.unwrap_or(end - 1))
    }

    /// The first sample at or above the level in the next stretch, and before it the end of the old plateau;
    /// where there is none, the start of the old stretch.
    fn rise(&self, number: usize, level: f64) -> Event {
        let start = number * self.stretch;
        let middle = start + self.stretch;
        let new = &self.samples[middle..self.end_of(number + 1)];
        let first = middle + new.iter().position(|sample| *sample >= level).unwrap_or(0);
        let on_plateau = |index: &usize| self.samples[*index] >= self.highest[number] - self.plateau;
        let last = self.run((start..first).rev(), on_plateau);
        self.between(last.unwrap_or(start), first)
    }

    /// The index at which a run of neighbours is first long enough for a plateau. The first ones of the run may still lie on
    /// an edge, so the bound is taken here and not where the run began.
    fn run(&self, indexes: impl Iterator<Item = usize>, on_plateau: impl Fn(&usize) -> bool) -> Option<usize> {
        let mut length = 0;
        let mut long_enough = |index: &usize| {
            length = if on_plateau(index) { length + 1 } else { 0 };
            length >= self.least
        };
        let mut indexes = indexes;
        indexes.find(|index| long_enough(index))
    }

    fn end_of(&self, number: usize) -> usize {
        ((number + 1) * self.stretch).min(self.samples.len())
    }

    fn between(&self, last: usize, first: usize) -> Event {
        Event::between(last as f64 * self.interval_s, first as f64 * self.interval_s)
    }
}

fn whole_stretches(samples: &[f64], stretch: usize) -> impl Iterator<Item = &[f64]> {
    samples.chunks_exact(stretch)
}
