//! How voltage and current of the DC output run, by relay, sink and aim: inside, at its capacitance, and at its contacts, which the output
//! relay separates from it while it is open.

use super::super::OnboardCharger;
use super::super::line::parallel;
use super::bench::Sinks;
use super::course::Course;
use super::stretch::State;
use super::{Event, Relay, Stage};

/// Of the rated current, what counts as none.
const NO_CURRENT: f64 = 0.01;
/// V that count as no difference.
const SAME_V: f64 = 0.05;
/// Of the lowest voltage of a battery, where a falling output counts as pulled down.
const DOWN: f64 = 0.5;
/// s within which a capacitance behind the open relay has come to the voltage of the contacts.
const LONGEST_S: f64 = 100.0;

/// The DC output from a moment on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Output {
    /// V of the output's capacitance.
    pub(super) volts: Course,
    /// A into the sink.
    pub(super) amps: Course,
    /// A of the power stage.
    pub(super) stage_a: Course,
    /// What ends this course, s from now.
    pub(super) next: Option<(f64, Event)>,
    /// A battery holds the voltage.
    pub(super) held: bool,
}

/// What stays the same within a stretch.
#[derive(Clone, Copy)]
struct Now {
    state: State,
    /// F
    c: f64,
    /// Ω
    r: f64,
    works: bool,
}

impl OnboardCharger {
    /// Ω across the output's capacitance. Behind the open relay the burden reaches it through the resistor beside the relay, where no sink
    /// holds the contacts.
    pub(super) fn output_ohm(&self) -> f64 {
        let own = if self.power.discharging {
            self.power.parts.r_out_active
        } else {
            self.power.parts.r_out
        };
        let outside = match (self.power.relay, self.sink_holds_v()) {
            (Relay::Closed, _) => self.burden_across_ohm(),
            (_, Some(_)) => f64::INFINITY,
            (_, None) => self.power.parts.r_beside_relay + self.burden_across_ohm(),
        };
        parallel(own, outside)
    }

    /// V that the sink puts on the contacts by itself; `None` where it leaves them alone.
    fn sink_holds_v(&self) -> Option<f64> {
        self.power.sink.sinks().holds_v()
    }

    /// V at the contacts. Closed, the relay makes one of both sides, and a battery holds them both; open, the sink has the contacts, or
    /// what is inside is seen through the resistor beside the relay.
    pub(super) fn contacts(&self, output: &Output) -> Course {
        match (self.power.relay, self.power.sink.sinks(), self.sink_holds_v()) {
            (Relay::Closed, Sinks::Battery(volts, _), _) if output.held => Course::constant(volts),
            (Relay::Closed, ..) => output.volts,
            (_, _, Some(volts)) => Course::constant(volts),
            (_, _, None) => {
                let burden = self.burden_across_ohm();
                // With nothing across them the contacts show all of it.
                let lost = self.power.parts.r_beside_relay / burden;
                output.volts.scaled(1.0 / (1.0 + lost))
            }
        }
    }

    /// The output from now on.
    pub(super) fn output(&self, state: State) -> Output {
        let now = Now {
            state,
            c: self.power.parts.c_out,
            r: self.output_ohm(),
            works: self.power.stage == Stage::Deliver,
        };
        match (self.power.relay, self.power.sink.sinks()) {
            (Relay::Precharge, Sinks::Battery(volts, _)) if !self.power.parts.precharge_open => {
                self.precharging(now, volts, self.power.parts.r_precharge)
            }
            (Relay::Closed, Sinks::Battery(volts, _)) => self.on_battery(now, volts),
            (Relay::Closed, Sinks::Current(amps)) if now.works && self.power.aim.falls => self.pulled_down(now, amps),
            (Relay::Closed, Sinks::Current(amps)) if now.works => self.at_voltage(now, amps),
            (Relay::Closed, Sinks::Current(amps)) => self.drained(now, amps),
            (Relay::Closed, Sinks::Reversed) => self.drained(now, self.power.sink.amps),
            (Relay::Closed, Sinks::Nothing) if now.works => self.unloaded(now),
            (Relay::Closed, _) => self.alone(now),
            _ => self.behind_relay(now),
        }
    }

    /// The relay is open. The resistor beside it lets current out, and none in.
    fn behind_relay(&self, now: Now) -> Output {
        let outside_v = match self.sink_holds_v() {
            Some(volts) if self.dumped_v(now) > volts.max(0.0) + SAME_V => volts.max(0.0),
            _ => return self.alone(now),
        };
        let output = self.precharging(now, outside_v, self.power.parts.r_beside_relay);
        let level_v = outside_v + 0.5 * SAME_V;
        let reached = output.volts.reaches(level_v, 0.0, LONGEST_S);
        Output {
            next: reached.map(|after_s| (after_s, Event::Renew)),
            ..output
        }
    }

    /// V after the choke has given what it has: its energy goes into the output's capacitance.
    fn dumped_v(&self, now: Now) -> f64 {
        let State { dc_v, stage_a, .. } = now.state;
        libm::sqrt(dc_v * dc_v + self.power.parts.l_out * stage_a * stage_a / now.c)
    }

    fn alone(&self, now: Now) -> Output {
        Output {
            volts: Course::settling(self.dumped_v(now), 0.0, now.r * now.c),
            amps: Course::ZERO,
            stage_a: Course::ZERO,
            next: None,
            held: false,
        }
    }

    /// Inside and contacts come together through a resistor.
    fn precharging(&self, now: Now, battery_v: f64, r: f64) -> Output {
        let final_v = battery_v * now.r / (now.r + r);
        let tau_s = now.c * now.r * r / (now.r + r);
        let first_v = self.dumped_v(now);
        Output {
            volts: Course::settling(first_v, final_v, tau_s),
            amps: Course::settling((first_v - battery_v) / r, (final_v - battery_v) / r, tau_s),
            stage_a: Course::ZERO,
            next: None,
            held: false,
        }
    }

    fn on_battery(&self, now: Now, battery_v: f64) -> Output {
        let parts = &self.power.parts;
        let State { dc_v, stage_a, .. } = now.state;
        let aim = self.power.aim;
        if now.works && aim.volts > battery_v + SAME_V {
            return self.at_voltage(now, aim.amps);
        }
        if (dc_v - battery_v).abs() > SAME_V {
            // Both come together through the relay.
            let tau_s = parts.r_relay * now.c;
            let (dc_v, stage_a) = if now.works {
                (dc_v, stage_a)
            } else {
                (self.dumped_v(now), 0.0)
            };
            return Output {
                volts: Course::settling(dc_v, battery_v, tau_s),
                amps: Course::settling(stage_a + (dc_v - battery_v) / parts.r_relay, stage_a, tau_s),
                stage_a: Course::constant(stage_a),
                next: Some((12.0 * tau_s, Event::Renew)),
                held: true,
            };
        }
        let leak_a = battery_v / now.r;
        let (to_a, tau_s) = if now.works {
            (aim.amps, parts.tau_cc_s)
        } else {
            // As much charge as the choke's energy gives into that voltage.
            (-leak_a, 0.5 * parts.l_out * stage_a / battery_v.max(1.0))
        };
        Output {
            volts: Course::constant(battery_v),
            amps: Course::settling(stage_a - leak_a, to_a, tau_s),
            stage_a: Course::settling(stage_a, to_a + leak_a, tau_s),
            next: None,
            held: true,
        }
    }

    /// The charger holds its voltage, and the sink takes a current.
    fn at_voltage(&self, now: Now, amps: f64) -> Output {
        let parts = &self.power.parts;
        let (from_v, to_v) = (now.state.dc_v, self.power.aim.volts);
        let tau_s = parts.tau_cv_s;
        let from_a = amps + from_v / now.r + now.c * (to_v - from_v) / tau_s;
        if from_a < 0.0 {
            return self.falling(now, amps, to_v);
        }
        let volts = Course::settling(from_v, to_v, tau_s);
        let high = (to_v > parts.ovp_v)
            .then(|| volts.reaches(parts.ovp_v, 0.0, 20.0 * tau_s))
            .flatten();
        Output {
            volts,
            amps: Course::constant(amps),
            stage_a: Course::settling(from_a, amps + to_v / now.r, tau_s),
            next: high.map(|after_s| (after_s, Event::TooHigh)),
            held: false,
        }
    }

    /// The power stage waits until the sink has brought the output down.
    fn falling(&self, now: Now, amps: f64, to_v: f64) -> Output {
        let from_v = self.dumped_v(now);
        let volts = if amps > 0.0 {
            Course::line(from_v, -amps / now.c)
        } else {
            Course::settling(from_v, 0.0, now.r * now.c)
        };
        let span = if amps > 0.0 {
            from_v * now.c / amps
        } else {
            20.0 * now.r * now.c
        };
        Output {
            volts,
            amps: Course::constant(amps),
            stage_a: Course::ZERO,
            next: volts.reaches(to_v, 0.0, span).map(|after_s| (after_s, Event::Renew)),
            held: false,
        }
    }

    /// The sink takes more than the charger gives.
    fn pulled_down(&self, now: Now, amps: f64) -> Output {
        let given_a = self.power.aim.amps;
        let slope = (given_a - amps).min(-1e-3) / now.c;
        let volts = Course::line(now.state.dc_v, slope);
        let down_v = DOWN * self.power.parts.dc_lowest_v;
        Output {
            volts,
            amps: Course::constant(amps),
            stage_a: Course::constant(given_a),
            next: Some((((down_v - now.state.dc_v) / slope).max(0.0), Event::Collapse)),
            held: false,
        }
    }

    /// A sink on an output that gives nothing.
    fn drained(&self, now: Now, amps: f64) -> Output {
        let volts = self.dumped_v(now);
        if amps <= 0.0 || volts <= SAME_V {
            let mut alone = self.alone(now);
            if amps > 0.0 {
                alone.volts = Course::ZERO;
            }
            return alone;
        }
        Output {
            volts: Course::line(volts, -amps / now.c),
            amps: Course::constant(amps),
            stage_a: Course::ZERO,
            next: Some(((volts - 0.5 * SAME_V) * now.c / amps, Event::Renew)),
            held: false,
        }
    }

    /// The sink is gone: the current goes into the output's capacitance until the control has brought it down.
    fn unloaded(&self, now: Now) -> Output {
        let parts = &self.power.parts;
        let State { dc_v, stage_a, .. } = now.state;
        let aimed_v = self.power.aim.volts;
        if stage_a <= NO_CURRENT * parts.dc_rated_a {
            return self.idle(now, aimed_v);
        }
        let (volts, current, span) = if dc_v < aimed_v - SAME_V {
            let slope = stage_a / now.c;
            let span = (aimed_v - dc_v) / slope;
            (Course::line(dc_v, slope), Course::constant(stage_a), span)
        } else {
            let tau_s = parts.tau_cv_s;
            let more_v = stage_a * tau_s / now.c;
            let volts = Course::settling(dc_v, dc_v + more_v, tau_s);
            (volts, Course::settling(stage_a, 0.0, tau_s), 6.0 * tau_s)
        };
        let high = if dc_v >= parts.ovp_v {
            Some(0.0)
        } else {
            volts.reaches(parts.ovp_v, 0.0, span)
        };
        Output {
            volts,
            amps: Course::ZERO,
            stage_a: current,
            next: Some(high.map_or((span, Event::Renew), |after_s| (after_s, Event::TooHigh))),
            held: false,
        }
    }

    fn idle(&self, now: Now, aimed_v: f64) -> Output {
        let dc_v = now.state.dc_v;
        if dc_v > aimed_v + SAME_V {
            return self.falling(now, 0.0, aimed_v);
        }
        if dc_v < aimed_v - SAME_V {
            return self.at_voltage(now, 0.0);
        }
        Output {
            volts: Course::constant(dc_v),
            amps: Course::ZERO,
            stage_a: Course::constant(dc_v / now.r),
            next: None,
            held: false,
        }
    }
}
