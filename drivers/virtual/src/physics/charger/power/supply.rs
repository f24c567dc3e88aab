//! What the charger makes of its supply: too low, too high, gone and back; and what stays on the pins without one.

use super::super::OnboardCharger;
use super::super::control;
use super::parts::Seen;
use super::{Event, Fault, Stage};

impl OnboardCharger {
    /// V rms of the source, with all that opens between it and the pins.
    pub(super) fn fed_v(&self) -> f64 {
        if self.station.passes() {
            self.power.feed.volts()
        } else {
            0.0
        }
    }

    /// Whether a source is on the pins at all; in a dip to nothing it holds them at 0 V.
    pub(super) fn is_fed(&self) -> bool {
        self.station.passes() && self.power.feed.live
    }

    /// The source as the charger sees it behind its fuse.
    pub(super) fn seen(&self) -> Seen {
        Seen {
            source_v: if self.power.parts.ac_open { 0.0 } else { self.fed_v() },
            omega: 2.0 * core::f64::consts::PI * self.power.feed.source.frequency,
        }
    }

    /// Notes whether the supply is right, and plans what follows when it is not.
    pub(super) fn watch_supply(&mut self) {
        let volts = self.seen().source_v;
        let parts = &self.values;
        let more = if self.power.lost {
            parts.get("v_drop_hysteresis")
        } else {
            0.0
        };
        let right = volts >= parts.get("v_drop_out") + more && volts <= parts.get("v_too_high");
        let (ride_s, restart_s) = (parts.get("t_ride"), parts.get("t_restart"));
        match (right, self.power.lost) {
            (true, false) => self.cancel(|event| *event == Event::Lost),
            (true, true) if self.power.tripped => self.plan_once(restart_s, Event::Back),
            (true, true) => self.power.lost = false,
            (false, true) => self.cancel(|event| *event == Event::Back),
            (false, false) if self.power.stage == Stage::Off => self.power.lost = true,
            (false, false) => self.plan_once(ride_s, Event::Lost),
        }
        self.watch_pins();
        self.wait_for_supply(volts);
    }

    fn watch_pins(&mut self) {
        if self.is_fed() {
            self.cancel(|event| *event == Event::Discharge);
            self.power.pins_discharged = false;
        } else if !self.power.pins_discharged {
            let after_s = self.power.parts.t_x_active_s;
            self.plan_once(after_s, Event::Discharge);
        }
    }

    /// It gives up only where no supply has come.
    fn wait_for_supply(&mut self, volts: f64) {
        if volts > 0.0 {
            self.queue.cancel(|event| *event == control::Event::GiveUp);
        } else if self.control.s2 && !self.control.gave_up && !self.queue.holds(control::Event::GiveUp) {
            let at_s = self.now_s + self.values.get("t_no_supply");
            self.queue.plan(at_s, control::Event::GiveUp);
        }
    }

    /// The supply has been wrong for too long.
    pub(super) fn lose_supply(&mut self) {
        self.power.lost = true;
        self.power.tripped = true;
        let fault = self.values.yes("latched_after_dip").then_some(Fault::Supply);
        self.shut(fault);
    }
}
