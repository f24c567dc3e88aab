//! Quick measurements of a pulse over a short record: levels, frequency and duty cycle, as a capture instrument shows them.

/// Span of levels below which a record is a steady level and no pulse, in V.
const STEADY_V: f64 = 1.0;

/// What is asked of the record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Quick {
    /// The upper level.
    High,
    /// The lower level.
    Low,
    /// Hz.
    Frequency,
    /// High time in percent of the period, at half the amplitude.
    Duty,
}

/// The measurement, or `None` where the record holds no such thing. A steady level is its own upper and lower level,
/// and has neither frequency nor duty cycle.
pub(crate) fn measure(quick: Quick, record_v: &[f64], interval_s: f64) -> Option<f64> {
    let low = record_v.iter().copied().reduce(f64::min)?;
    let high = record_v.iter().copied().reduce(f64::max)?;
    let middle = f64::midpoint(low, high);
    let steady = high - low < STEADY_V;
    match quick {
        Quick::High | Quick::Low if steady => median(record_v.to_vec()),
        Quick::High => median(record_v.iter().copied().filter(|level| *level > middle).collect()),
        Quick::Low => median(record_v.iter().copied().filter(|level| *level <= middle).collect()),
        Quick::Frequency | Quick::Duty if steady => None,
        Quick::Frequency => Edges::of(record_v, middle)
            .period()
            .map(|period| 1.0 / (period * interval_s)),
        Quick::Duty => Edges::of(record_v, middle).duty().map(|duty| duty * 100.0),
    }
}

fn median(mut levels: Vec<f64>) -> Option<f64> {
    let middle = levels.len() / 2;
    if levels.is_empty() {
        return None;
    }
    let (_, median, _) = levels.select_nth_unstable_by(middle, f64::total_cmp);
    Some(*median)
}

/// Where a record crosses a level, in sample intervals, interpolated.
struct Edges {
    rising: Vec<f64>,
    falling: Vec<f64>,
}

impl Edges {
    fn of(record_v: &[f64], level_v: f64) -> Self {
        let mut edges = Self {
            rising: Vec::new(),
            falling: Vec::new(),
        };
        for (index, pair) in record_v.windows(2).enumerate() {
            let (before, after) = (pair[0] - level_v, pair[1] - level_v);
            if (before > 0.0) == (after > 0.0) {
                continue;
            }
            let at = index as f64 + before / (before - after);
            if after > 0.0 {
                edges.rising.push(at);
            } else {
                edges.falling.push(at);
            }
        }
        edges
    }

    /// Mean period between rising edges.
    fn period(&self) -> Option<f64> {
        let (first, last) = (self.rising.first()?, self.rising.last()?);
        (self.rising.len() > 1).then(|| (last - first) / (self.rising.len() - 1) as f64)
    }

    /// Mean high time over whole periods, divided by the period.
    fn duty(&self) -> Option<f64> {
        let period = self.period()?;
        let whole = self.rising.len() - 1;
        let high: f64 = self.rising[..whole]
            .iter()
            .map(|start| self.next_fall(*start) - start)
            .sum();
        Some(high / whole as f64 / period)
    }

    fn next_fall(&self, start: f64) -> f64 {
        let index = self.falling.partition_point(|fall| *fall <= start);
        self.falling.get(index).copied().unwrap_or(start)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use proptest::prelude::*;

    fn pulse(duty: f64, period: f64, phase: f64) -> Vec<f64> {
        (0..10_000)
            .map(|index| {
                let cycle = (f64::from(index) + phase) / period;
                if cycle - cycle.floor() < duty { 9.0 } else { -12.0 }
            })
            .collect()
    }

    proptest! {
        #[test]
        fn a_pulse_gives_back_what_it_was_made_of(duty in 0.05f64..0.95, phase in 0.0f64..1000.0) {
            let record = pulse(duty, 1000.0, phase);
            prop_assert_eq!(measure(Quick::High, &record, 1e-6), Some(9.0));
            prop_assert_eq!(measure(Quick::Low, &record, 1e-6), Some(-12.0));
            prop_assert!((measure(Quick::Frequency, &record, 1e-6).unwrap() - 1000.0).abs() < 1e-6);
            prop_assert!((measure(Quick::Duty, &record, 1e-6).unwrap() - duty * 100.0).abs() < 0.11);
        }
    }

    #[test]
    fn a_steady_level_is_no_pulse() {
        let record = vec![12.0; 100];
        assert_eq!(measure(Quick::High, &record, 1e-6), Some(12.0));
        assert_eq!(measure(Quick::Low, &record, 1e-6), Some(12.0));
        assert_eq!(measure(Quick::Frequency, &record, 1e-6), None);
        assert_eq!(measure(Quick::Duty, &record, 1e-6), None);
        assert_eq!(measure(Quick::High, &[], 1e-6), None);
    }

    #[test]
    fn one_edge_is_no_period() {
        let mut record = vec![12.0; 50];
        record.extend(vec![-12.0; 50]);
        assert_eq!(measure(Quick::Frequency, &record, 1e-6), None);
        assert_eq!(measure(Quick::High, &record, 1e-6), Some(12.0));
    }
}
