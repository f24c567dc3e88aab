//! The lock of an inlet: a motor that starts above some voltage and is the faster the higher it is, a pin, and a switch that
//! tells where the pin is, or lies.

use super::super::api::ItemSort;
use super::super::values::Values;

/// Part of the stalled current that flows while the motor turns.
const TURNING: f64 = 0.4;
/// The voltage for which the travel time is stated, V.
const RATED_V: f64 = 12.0;

/// The lock.
#[derive(Debug, Clone)]
pub(super) struct Lock {
    starts_v: f64,
    travel_s: f64,
    ohm: f64,
    lies: bool,
    volts: f64,
    locks: bool,
    /// Position at a moment: 0 released, 1 locked.
    at: (f64, f64),
    /// The end at which the pin was last.
    was_locked: bool,
}

impl Lock {
    pub(super) fn new(values: &Values, sort: ItemSort) -> Self {
        // What has no lock has one that nothing can start and that draws nothing.
        let present = sort == ItemSort::Inlet;
        let of = |name| if present { values.get(name) } else { f64::INFINITY };
        Self {
            starts_v: of("lock_v_start"),
            travel_s: of("lock_t"),
            ohm: of("lock_r"),
            lies: present && values.yes("lock_lies"),
            volts: 0.0,
            locks: false,
            at: (0.0, 0.0),
            was_locked: false,
        }
    }

    pub(super) fn drive(&mut self, now_s: f64, locks: bool) {
        self.settle(now_s);
        self.locks = locks;
    }

    pub(super) fn supply(&mut self, now_s: f64, volts: f64) {
        self.settle(now_s);
        self.volts = volts;
    }

    /// Keeps where the pin is now, before something else drives it.
    fn settle(&mut self, now_s: f64) {
        self.was_locked = self.pin_locked(now_s);
        self.at = (self.position(now_s), now_s);
    }

    fn aim(&self) -> f64 {
        f64::from(u8::from(self.locks))
    }

    /// Travel grows with the inverse of the voltage.
    pub(super) fn position(&self, at_s: f64) -> f64 {
        let (was, since_s) = self.at;
        if self.volts < self.starts_v {
            return was;
        }
        let moved = (at_s - since_s).max(0.0) * self.volts / (RATED_V * self.travel_s.max(1e-3));
        was + (self.aim() - was).clamp(-moved, moved)
    }

    /// A switch at each end: between them the pin counts as where it was last.
    pub(super) fn pin_locked(&self, at_s: f64) -> bool {
        match self.position(at_s) {
            at if at > 0.95 => true,
            at if at < 0.05 => false,
            _ => self.was_locked,
        }
    }

    /// What its switch says: the drive's wish where it lies.
    pub(super) fn says_locked(&self, at_s: f64) -> bool {
        if self.lies { self.locks } else { self.pin_locked(at_s) }
    }

    /// A of the motor: stalled, turning, or at its end, where it is switched off.
    pub(super) fn amps(&self, at_s: f64) -> f64 {
        let arrived = libm::fabs(self.position(at_s) - self.aim()) < 1e-9;
        if arrived {
            return 0.0;
        }
        let stalled = self.volts / self.ohm.max(0.1);
        if self.volts < self.starts_v {
            stalled
        } else {
            stalled * TURNING
        }
    }
}
