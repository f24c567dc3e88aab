//! What every bench has, whatever it tests: the guard of the enclosure, the hard-wired stop, the isolator's lock, and the reference
//! that proves a meter: 50 V of its own oscillator or of DC, and when it was which.

use super::api::ReferenceMode;
use super::mains::Wave;
use super::values::Values;

/// Frequency of the reference's own oscillator, Hz.
const REFERENCE_HZ: f64 = 50.0;

/// Where its switches stand.
#[allow(clippy::struct_excessive_bools, reason = "each is one switch")]
#[derive(Debug, Clone)]
pub(super) struct Station {
    pub(super) contactor_closed: bool,
    pub(super) door_closed: bool,
    pub(super) stop_pressed: bool,
    pub(super) locked: bool,
    /// Each mode with its start, s: short, since only a person or a proof of the meter switches it.
    reference: Vec<(f64, ReferenceMode)>,
    reference_v: f64,
}

impl Station {
    pub(super) fn new(values: &Values) -> Self {
        Self {
            contactor_closed: true,
            door_closed: true,
            stop_pressed: false,
            locked: false,
            reference: vec![(0.0, ReferenceMode::Off)],
            reference_v: values.get("bench_v_reference"),
        }
    }

    /// The guard lets the supply contactor close.
    pub(super) fn guard_allows(&self) -> bool {
        self.door_closed && !self.stop_pressed
    }

    /// The source may be switched on.
    pub(super) fn guard_holds(&self) -> bool {
        self.guard_allows() && self.contactor_closed
    }

    /// The supply contactor opens a moment after the guard is broken: says whether that must be planned. It closes again with the
    /// guard; the source does not.
    pub(super) fn follow_guard(&mut self) -> bool {
        if self.guard_allows() {
            self.contactor_closed = true;
            return false;
        }
        self.contactor_closed
    }

    /// Power comes through: neither contactor nor isolator is open.
    pub(super) fn passes(&self) -> bool {
        self.contactor_closed && !self.locked
    }

    /// Puts the reference to a mode.
    pub(super) fn set_reference(&mut self, now_s: f64, mode: ReferenceMode) {
        self.reference.push((now_s, mode));
    }

    pub(super) fn reference_rms(&self, from_s: f64, to_s: f64) -> f64 {
        if to_s <= from_s {
            return match self.mode_at(to_s) {
                ReferenceMode::Off => 0.0,
                ReferenceMode::Ac | ReferenceMode::Dc => self.reference_v,
            };
        }
        let square = self.sum_of_modes((from_s, to_s), |sine, dc, low, high| match dc {
            Some(volts) => volts * volts * (high - low),
            None => sine.square_integral(low, high),
        });
        libm::sqrt(square / (to_s - from_s))
    }

    pub(super) fn reference_mean(&self, from_s: f64, to_s: f64) -> f64 {
        if to_s <= from_s {
            return self.reference_at(to_s);
        }
        let sum = self.sum_of_modes((from_s, to_s), |sine, dc, low, high| match dc {
            Some(volts) => volts * (high - low),
            None => sine.integral(low, high),
        });
        sum / (to_s - from_s)
    }

    pub(super) fn reference_at(&self, time_s: f64) -> f64 {
        match self.mode_at(time_s) {
            ReferenceMode::Off => 0.0,
            ReferenceMode::Dc => self.reference_v,
            ReferenceMode::Ac => self.reference_sine().at(time_s),
        }
    }

    fn mode_at(&self, time_s: f64) -> ReferenceMode {
        let modes = &self.reference;
        let later = modes.partition_point(|&(start_s, _)| start_s <= time_s);
        modes[later.saturating_sub(1)].1
    }

    /// Sums over each mode's part of an aperture: with its DC value, or with its sine where that is `None`.
    fn sum_of_modes(&self, (from_s, to_s): (f64, f64), part: impl Fn(&Wave, Option<f64>, f64, f64) -> f64) -> f64 {
        let (sine, modes) = (self.reference_sine(), &self.reference);
        (0..modes.len())
            .map(|k| {
                let low = if k == 0 { from_s } else { modes[k].0.max(from_s) };
                let high = modes.get(k + 1).map_or(to_s, |next| next.0.min(to_s));
                let dc = match modes[k].1 {
                    ReferenceMode::Off => Some(0.0),
                    ReferenceMode::Dc => Some(self.reference_v),
                    ReferenceMode::Ac => None,
                };
                if high > low { part(&sine, dc, low, high) } else { 0.0 }
            })
            .sum()
    }

    /// What a gain by frequency makes of the reference as it is at a moment.
    pub(super) fn reference_gain(&self, time_s: f64, gain: &dyn Fn(f64) -> f64) -> f64 {
        match self.mode_at(time_s) {
            ReferenceMode::Off => 1.0,
            ReferenceMode::Dc => gain(0.0),
            ReferenceMode::Ac => gain(REFERENCE_HZ),
        }
    }

    fn reference_sine(&self) -> Wave {
        Wave::sine(self.reference_v, 2.0 * core::f64::consts::PI * REFERENCE_HZ)
    }
}
