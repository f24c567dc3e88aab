//! What the charger's control perceives of its pilot: comparator, averaging over pulses, and the current that a duty allows.

use super::super::pilot::{Drive, Segment, high_time_s};
use super::super::values::Values;

/// What is on the pilot, as the control sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Perceived {
    /// No pilot: nothing plugged in, interrupted, or shorted to PE (state E).
    Nothing,
    /// Steady and high (X1): no offer.
    Steady,
    /// A pulse of this duty (X2).
    Offer(f64),
    /// A pulse at a frequency that is none of a pilot.
    Strange,
    /// Steady and low (state F).
    Fault,
}

/// The decoder.
#[derive(Debug, Clone)]
pub(super) struct Decoder {
    threshold_v: f64,
    fault_v: f64,
    n_average: u64,
    t_task_s: f64,
    t_loss_s: f64,
    gain: f64,
    offset: f64,
    frequencies: (f64, f64),
    positive_only: bool,
}

impl Decoder {
    pub(super) fn new(values: &Values) -> Self {
        Self {
            threshold_v: values.get("th_pilot"),
            fault_v: values.get("th_fault"),
            n_average: values.get("n_average").max(1.0) as u64,
            t_task_s: values.get("t_task"),
            t_loss_s: values.get("t_loss"),
            gain: values.get("d_gain"),
            offset: values.get("d_offset"),
            frequencies: (values.get("f_lowest"), values.get("f_highest")),
            positive_only: values.yes("accepts_positive_only"),
        }
    }

    /// How long a change on the line takes to be perceived: the pulses that are averaged, or the time until they count as
    /// gone; then the task that looks.
    pub(super) fn latency_s(&self, segment: &Segment) -> f64 {
        let seen_s = match segment.drive {
            Drive::Pwm(_) => self.window_s(segment),
            Drive::Steady(_) => self.t_loss_s,
        };
        seen_s + self.t_task_s
    }

    /// Length of the averaged pulses, s.
    fn window_s(&self, segment: &Segment) -> f64 {
        match segment.drive {
            Drive::Pwm(pwm) => self.n_average as f64 * pwm.period_s,
            Drive::Steady(_) => 0.0,
        }
    }

    /// When to look again at a line that does not change: only where its pulses differ.
    pub(super) fn again_s(&self, segment: &Segment) -> Option<f64> {
        match segment.drive {
            Drive::Pwm(pwm) if pwm.jitter_s > 0.0 => Some(self.window_s(segment)),
            _ => None,
        }
    }

    /// What is perceived at a moment.
    pub(super) fn perceive(&self, segment: &Segment, now_s: f64) -> Perceived {
        match segment.drive {
            Drive::Steady(source_v) => self.steady(segment.circuit.level(source_v)),
            Drive::Pwm(pwm) => {
                let Some(high_s) = high_time_s(segment, self.threshold_v) else {
                    // Always above or always below the threshold.
                    let duty = pwm.high_s / pwm.period_s;
                    let (high_v, low_v) = segment.rails_v;
                    return self.steady(segment.circuit.level(if duty > 0.5 { high_v } else { low_v }));
                };
                let frequency = 1.0 / pwm.period_s;
                if !(self.frequencies.0..=self.frequencies.1).contains(&frequency) {
                    return Perceived::Strange;
                }
                if !self.positive_only && segment.circuit.level(segment.rails_v.1) > self.fault_v {
                    return Perceived::Strange;
                }
                let duty = (high_s + self.mean_jitter_s(segment, now_s)) / pwm.period_s;
                Perceived::Offer(duty * self.gain + self.offset)
            }
        }
    }

    fn steady(&self, level_v: f64) -> Perceived {
        if level_v > self.threshold_v {
            Perceived::Steady
        } else if level_v < self.fault_v {
            Perceived::Fault
        } else {
            Perceived::Nothing
        }
    }

    /// Mean deviation of the pulses that were averaged last.
    fn mean_jitter_s(&self, segment: &Segment, now_s: f64) -> f64 {
        let Drive::Pwm(pwm) = segment.drive else { return 0.0 };
        if pwm.jitter_s <= 0.0 {
            return 0.0;
        }
        let last = pwm.period_of(now_s);
        let first = last.saturating_sub(self.n_average);
        let sum: f64 = (first..last).map(|period| pwm.period_high_s(period) - pwm.high_s).sum();
        sum / (last - first).max(1) as f64
    }
}

/// The current that a duty allows a vehicle, A (IEC 61851-1 Annex A, Table A.8). Written here once more and not taken from the
/// judging side: a mistake there must show.
pub(super) fn allowed_a(duty: f64) -> f64 {
    match duty {
        d if d < 0.08 => 0.0,
        d if d < 0.10 => 6.0,
        d if d <= 0.85 => 60.0 * d,
        d if d <= 0.96 => 250.0 * (d - 0.64),
        d if d <= 0.97 => 80.0,
        _ => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::allowed_a;

    /// Rows that are printed in public secondary sources of IEC 61851-1 Table A.8.
    #[test]
    fn the_rule_gives_the_published_rows() {
        for (percent, amps) in [
            (2.0, 0.0),
            (5.0, 0.0),
            (7.5, 0.0),
            (8.0, 6.0),
            (9.0, 6.0),
            (10.0, 6.0),
            (16.0, 9.6),
            (20.0, 12.0),
            (30.0, 18.0),
            (50.0, 30.0),
            (80.0, 48.0),
            (85.0, 51.0),
            (86.0, 55.0),
            (90.0, 65.0),
            (96.0, 80.0),
            (97.0, 80.0),
            (99.0, 0.0),
        ] {
            assert!((allowed_a(percent / 100.0) - amps).abs() < 1e-9, "{percent} %");
        }
    }
}
