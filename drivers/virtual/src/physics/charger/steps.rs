//! A value that changes in steps, with its recent past.

use std::collections::VecDeque;

/// Each value with its start, s; the last one still holds.
#[derive(Debug)]
pub(super) struct Steps(VecDeque<(f64, f64)>);

impl Steps {
    pub(super) fn new(value: f64) -> Self {
        Self(VecDeque::from([(0.0, value)]))
    }

    /// Begins another value; what ended before `keep_s` ago may be forgotten.
    pub(super) fn push(&mut self, now_s: f64, value: f64, keep_s: f64) {
        if self.last().to_bits() == value.to_bits() {
            return;
        }
        if self.0.back().is_some_and(|(start_s, _)| *start_s >= now_s) {
            self.0.pop_back();
        }
        self.0.push_back((now_s, value));
        while self.0.len() > 1 && self.0[1].0 < now_s - keep_s {
            self.0.pop_front();
        }
    }

    pub(super) fn last(&self) -> f64 {
        self.0.back().map_or(0.0, |(_, value)| *value)
    }

    /// The value then; before the kept past, its first.
    pub(super) fn at(&self, time_s: f64) -> f64 {
        let later = self.0.partition_point(|(start_s, _)| *start_s <= time_s);
        self.0.get(later.saturating_sub(1)).map_or(0.0, |(_, value)| *value)
    }

    /// Mean of a function of the value over a span; of no time at all: at that moment.
    pub(super) fn mean(&self, (from_s, to_s): (f64, f64), of: impl Fn(f64) -> f64) -> f64 {
        if to_s <= from_s {
            return of(self.at(to_s));
        }
        let ends = self
            .0
            .iter()
            .skip(1)
            .map(|(start_s, _)| *start_s)
            .chain([f64::INFINITY]);
        let parts = self
            .0
            .iter()
            .zip(ends)
            .enumerate()
            .map(|(number, ((start_s, value), end_s))| {
                let start_s = if number == 0 { f64::NEG_INFINITY } else { *start_s };
                (end_s.min(to_s) - start_s.max(from_s)).max(0.0) * of(*value)
            });
        parts.sum::<f64>() / (to_s - from_s)
    }
}

#[cfg(test)]
mod tests {
    use super::Steps;

    #[test]
    fn means_and_moments_are_those_of_the_steps() {
        let mut steps = Steps::new(1.0);
        steps.push(2.0, 3.0, 100.0);
        steps.push(4.0, 3.0, 100.0);
        steps.push(6.0, -1.0, 100.0);
        for (time_s, value) in [
            (0.0, 1.0),
            (1.999, 1.0),
            (2.0, 3.0),
            (5.0, 3.0),
            (6.0, -1.0),
            (99.0, -1.0),
        ] {
            assert!((steps.at(time_s) - value).abs() < 1e-12, "{time_s}");
        }
        // 1·1 + 3·4 − 1·2 over 7 s; squares 1 + 36 + 2.
        assert!((steps.mean((1.0, 8.0), |x| x) - 11.0 / 7.0).abs() < 1e-12);
        assert!((steps.mean((1.0, 8.0), |x| x * x) - 39.0 / 7.0).abs() < 1e-12);
        assert!((steps.mean((6.0, 6.0), |x| x) + 1.0).abs() < 1e-12);
    }
}
