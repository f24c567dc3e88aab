//! Starting, delivering, stopping: every reason to stop, and how.

use super::super::{OnboardCharger, Perceived};
use super::bench::Sinks;
use super::{Aim, Event, Fault, Relay, Stage};

/// From S2 to no current, where the current was not brought down before, s.
const AFTER_S2_S: f64 = 0.02;

impl OnboardCharger {
    /// One event of the power side.
    pub(in super::super) fn happen_on_power(&mut self, event: Event) {
        self.power.renew = true;
        if self.power.is_restless(self.now_s) {
            self.cancel(|event| matches!(event, Event::Tick | Event::Renew));
            return self.shut(Some(Fault::Restless));
        }
        match event {
            Event::Guard => self.open_contactors(),
            Event::SupplyOn => self.power.feed.live = true,
            Event::DipBegins(ratio, for_s) => {
                self.power.feed.dip = Some(ratio);
                self.cancel(|event| *event == Event::DipEnds);
                self.plan(self.now_s + for_s, Event::DipEnds);
            }
            Event::DipEnds => self.power.feed.dip = None,
            Event::Discharge => self.power.pins_discharged = true,
            Event::Lost => self.lose_supply(),
            Event::Back => {
                self.power.lost = false;
                self.power.tripped = false;
            }
            Event::Bypass => {
                self.power.bypassed = true;
                self.power.stage = Stage::Bypassed;
                self.power.discharging = false;
                let after_s = self.values.get("t_boost");
                self.plan(self.now_s + after_s, Event::Boost);
            }
            Event::Boost => self.power.stage = Stage::Boost,
            Event::Precharged => self.close_output(),
            Event::Limit => self.power.target_a = self.requested_a(),
            Event::Low => self.pause(),
            Event::TooHigh => self.shut(Some(Fault::OverVoltage)),
            Event::Collapse => self.shut(Some(Fault::WrongSink)),
            Event::Shut => self.shut(None),
            Event::Interlock => self.shut(Some(Fault::Interlock)),
            Event::Look => self.look_at_heat(),
            Event::Tick | Event::Renew => {}
        }
    }

    /// Carries every consequence through on the power side.
    pub(in super::super) fn settle_power(&mut self) {
        self.watch_supply();
        self.follow_limit();
        self.follow_stage();
        // What is set anew may be a stop, which sets everything anew once more.
        for _ in 0..4 {
            if !std::mem::take(&mut self.power.renew) {
                break;
            }
            self.renew_power();
        }
        self.plan_look();
    }

    /// A that the pilot allows it, as it takes it. What it ignores leaves the current as it is.
    fn requested_a(&self) -> f64 {
        let control = &self.control;
        if !control.s2 {
            return 0.0;
        }
        let ignored = match control.perceived {
            Perceived::Nothing | Perceived::Fault => self.values.yes("ignores_fault"),
            Perceived::Steady => self.values.yes("ignores_x1") && !self.values.yes("draws_x1"),
            _ => false,
        };
        if ignored {
            self.power.target_a
        } else if control.wants {
            self.offered_a()
        } else {
            0.0
        }
    }

    /// Another duty is followed after a while; the first one at once.
    fn follow_limit(&mut self) {
        let wanted_a = self.requested_a();
        let target_a = self.power.target_a;
        if wanted_a <= 0.0 {
            self.cancel(|event| *event == Event::Limit);
            if self.power.stage == Stage::Off {
                self.power.target_a = 0.0;
            }
        } else if target_a <= 0.0 {
            self.power.target_a = wanted_a;
            self.power.renew = true;
        } else if (wanted_a - target_a).abs() > 1e-9 {
            let ignored = wanted_a < target_a && self.values.yes("step_down_ignored");
            if !ignored {
                self.plan_once(self.values.get("t_response"), Event::Limit);
            }
        }
    }

    pub(super) fn watch_loop(&mut self) {
        self.cancel(|event| *event == Event::Interlock);
        if !self.is_loop_closed() {
            self.plan(self.now_s + self.values.get("t_interlock"), Event::Interlock);
        }
    }

    /// As the charger sees it.
    fn is_loop_closed(&self) -> bool {
        self.power.loop_closed || self.values.yes("interlock_bridged")
    }

    fn follow_stage(&mut self) {
        let asked = self.requested_a() > 0.0;
        let offered = self.offered_a() > 0.0 && self.power.command.enabled;
        if !offered && self.is_loop_closed() {
            self.power.fault = None;
        }
        let may = asked && self.control.awake && self.power.fault.is_none() && self.is_loop_closed();
        if self.power.stage == Stage::Off {
            return self.follow_wish(may && !self.power.lost);
        }
        if !self.control.awake || self.power.fault.is_some() {
            return self.shut(self.power.fault);
        }
        if asked {
            self.go_on();
        } else {
            self.end();
        }
        match self.power.stage {
            Stage::Check => self.follow_battery(),
            Stage::Deliver => self.guard_output(),
            _ => {}
        }
    }

    fn follow_wish(&mut self, may: bool) {
        if may {
            self.plan_once(self.values.get("t_bypass"), Event::Bypass);
        } else {
            self.cancel(|event| *event == Event::Bypass);
        }
    }

    fn go_on(&mut self) {
        if self.power.stopping {
            self.power.stopping = false;
            self.power.renew = true;
        }
        self.cancel(|event| *event == Event::Shut);
    }

    /// The offer has ended, or the command says so: the current comes down before S2 opens. A latch that is pressed and a pilot that is
    /// gone leave no time for that.
    fn end(&mut self) {
        if !self.control.s2 {
            return self.plan_once(AFTER_S2_S, Event::Shut);
        }
        if self.values.get("ramp_down") <= 0.0 {
            return;
        }
        let urgent = !self.is_latched() || matches!(self.control.perceived, Perceived::Nothing | Perceived::Fault);
        if urgent || self.power.stage != Stage::Deliver {
            self.shut(None);
        } else if !self.power.stopping {
            self.power.stopping = true;
            self.power.renew = true;
        }
    }

    /// Opens everything at once. What is in the output choke goes into the output's capacitance.
    pub(super) fn shut(&mut self, fault: Option<Fault>) {
        self.cancel(|event| {
            matches!(
                event,
                Event::Bypass
                    | Event::Boost
                    | Event::Precharged
                    | Event::Tick
                    | Event::Limit
                    | Event::Low
                    | Event::TooHigh
                    | Event::Collapse
                    | Event::Shut
                    | Event::Lost
            )
        });
        let power = &mut self.power;
        power.fault = fault.or(power.fault);
        if power.stage != Stage::Off {
            power.discharging = true;
        }
        power.stage = Stage::Off;
        power.relay = Relay::Open;
        power.bypassed = false;
        power.stopping = false;
        (power.limit_a, power.drawn_w, power.target_a) = (0.0, 0.0, 0.0);
        power.aim = Aim::default();
        power.renew = true;
    }

    /// The bulk capacitor is too low: the output waits until it is full again.
    fn pause(&mut self) {
        if self.power.stage == Stage::Deliver {
            self.power.stage = Stage::Boost;
            self.power.limit_a = 0.0;
            self.power.aim = Aim::default();
        }
    }

    /// V of a battery that may be charged.
    fn battery_v(&self) -> Option<f64> {
        let parts = &self.power.parts;
        match self.power.sink.sinks() {
            Sinks::Battery(volts, _) if volts >= parts.dc_lowest_v && volts <= 1.02 * parts.dc_rated_v => Some(volts),
            _ => None,
        }
    }

    /// The output's capacitance is charged from the battery before its relay closes.
    fn follow_battery(&mut self) {
        match (self.power.relay, self.battery_v()) {
            (Relay::Open, Some(_)) => {
                self.power.relay = Relay::Precharge;
                self.power.discharging = false;
                self.power.renew = true;
                self.plan(self.now_s + self.values.get("t_precharge"), Event::Precharged);
            }
            (Relay::Precharge, None) => {
                self.power.relay = Relay::Open;
                self.power.renew = true;
                self.cancel(|event| *event == Event::Precharged);
            }
            _ => {}
        }
    }

    fn close_output(&mut self) {
        let state = self.power.state(self.now_s);
        match self.battery_v() {
            Some(volts) if (volts - state.dc_v).abs() <= self.power.parts.precharge_dv => {
                self.power.relay = Relay::Closed;
                self.power.stage = Stage::Deliver;
            }
            Some(_) => self.shut(Some(Fault::Precharge)),
            None => {}
        }
    }

    /// It gives nothing into a sink that is the wrong way round or too low.
    fn guard_output(&mut self) {
        let wrong = match self.power.sink.sinks() {
            Sinks::Reversed => true,
            Sinks::Battery(volts, _) => volts < self.power.parts.dc_lowest_v,
            Sinks::Nothing | Sinks::Current(_) => false,
        };
        if wrong {
            self.shut(Some(Fault::WrongSink));
        }
    }
}
