//! How much is drawn and given: the control looks once in each half wave while anything moves, and rests when nothing does.

use super::super::OnboardCharger;
use super::bench::Sinks;
use super::parts::Seen;
use super::stretch::State;
use super::{Aim, Event, Relay, Stage};

/// In how long the input stage makes up for what the bulk capacitor lacks, s.
const BULK_S: f64 = 0.04;
/// Part of its energy by which the bulk capacitor may differ at rest.
const BULK_AT_REST: f64 = 0.001;
/// W at most while the bulk capacitor is raised.
const BOOST_W: f64 = 800.0;
/// W that the input stage may always take for itself while it works.
const OWN_W: f64 = 150.0;
/// Below this part of the source's crest the bridge charges the bulk capacitor by itself.
const BRIDGE: f64 = 0.985;
/// A rms below which a current that is brought down has ended.
const ENDED_A: f64 = 0.2;
/// By how much the power at rest may differ from the one reckoned from the limit: both come from laws that are solved in turn.
const ROUNDING: f64 = 1.005;
/// Of the rated DC current, how much may be missing at rest.
const AT_REST_A: f64 = 2e-3;

/// What the bulk capacitor wants.
struct Want {
    /// W that go into it besides what goes through.
    more_w: f64,
    /// W that its resistor takes.
    bleed_w: f64,
    at_rest: bool,
}

impl OnboardCharger {
    /// Sets power and current anew; plans the next look where something moves.
    pub(super) fn regulate(&mut self) {
        self.cancel(|event| *event == Event::Tick);
        self.power.drawn_w = 0.0;
        self.power.loss_w = 0.0;
        let seen = self.seen();
        let state = self.power.state(self.now_s);
        let want = self.want(state);
        let rests = match self.power.stage {
            Stage::Off | Stage::Bypassed => true,
            Stage::Boost => self.boost(seen, state, &want),
            Stage::Check => {
                let (loss_w, _) = self.losses(0.0, state.dc_v, seen);
                self.draw(loss_w, &want, self.power.parts.input_w(self.own_a(), seen));
                want.at_rest
            }
            Stage::Deliver => self.deliver(seen, state, &want),
        };
        self.power.looked_s = self.now_s;
        if !rests && seen.source_v > 0.0 {
            let at_s = self.next_look_s();
            self.plan(at_s, Event::Tick);
        }
    }

    /// The next time that the source passes through zero.
    fn next_look_s(&self) -> f64 {
        let half_s = 0.5 / self.power.feed.source.frequency;
        let next_s = self.power.past.last().mains.next_zero_s(self.now_s + 0.02 * half_s);
        next_s.max(self.now_s + 0.02 * half_s)
    }

    fn want(&self, state: State) -> Want {
        let parts = &self.power.parts;
        let full_j = 0.5 * parts.c_bulk * parts.bulk_v * parts.bulk_v;
        let lacks_j = full_j - 0.5 * parts.c_bulk * state.bulk_v * state.bulk_v;
        let at_rest = lacks_j.abs() <= BULK_AT_REST * full_j;
        Want {
            more_w: if at_rest { 0.0 } else { lacks_j / BULK_S },
            bleed_w: state.bulk_v * state.bulk_v / parts.r_bulk,
            at_rest,
        }
    }

    /// A rms that the charger would take by itself: its own limit, less when it is hot, and what the source gives.
    fn own_a(&self) -> f64 {
        let power = &self.power;
        let own_a = power.parts.own_limit_a() * power.parts.derating(self.sensed_k(self.now_s));
        own_a.min(power.target_a).min(power.feed.source.limit_a)
    }

    /// W lost for so many out, and V at the pins then.
    fn losses(&self, out_w: f64, dc_v: f64, seen: Seen) -> (f64, f64) {
        let parts = &self.power.parts;
        let junction_k = self.junction_k(self.now_s);
        if seen.source_v < self.values.get("v_drop_out") {
            // The input stage rests: what is left is as at the voltage for which it was made.
            let made_for_v = self.values.get("supply_voltage");
            return (parts.loss_w(out_w, dc_v, made_for_v, junction_k), seen.source_v);
        }
        let mut loss_w = parts.loss_w(out_w, dc_v, seen.source_v, junction_k);
        let mut pins_v = seen.source_v;
        for _ in 0..3 {
            pins_v = parts.conductance(out_w + loss_w, seen).1;
            loss_w = parts.loss_w(out_w, dc_v, pins_v, junction_k);
        }
        (loss_w, pins_v)
    }

    /// Takes what goes through and what the bulk capacitor wants, within a limit.
    fn draw(&mut self, through_w: f64, want: &Want, limit_w: f64) {
        let wanted_w = through_w + want.bleed_w + want.more_w;
        self.power.drawn_w = wanted_w.clamp(0.0, limit_w.max(0.0));
        self.power.loss_w = through_w;
    }

    fn boost(&mut self, seen: Seen, state: State, want: &Want) -> bool {
        let idle_v = self.power.parts.idle_v(seen) * core::f64::consts::SQRT_2;
        if seen.source_v < self.values.get("v_drop_out") {
            return true;
        }
        if state.bulk_v < BRIDGE * idle_v {
            // The bridge is at it; a look now and then.
            return false;
        }
        let (loss_w, _) = self.losses(0.0, state.dc_v, seen);
        let limit_w = self.power.parts.input_w(self.own_a(), seen).min(BOOST_W);
        if !want.at_rest {
            self.draw(loss_w, want, limit_w);
            return false;
        }
        self.power.stage = match self.power.relay {
            Relay::Closed => Stage::Deliver,
            Relay::Open | Relay::Precharge => Stage::Check,
        };
        self.draw(loss_w, want, limit_w);
        false
    }

    fn deliver(&mut self, seen: Seen, state: State, want: &Want) -> bool {
        let own_a = self.own_a();
        let settled = self.move_limit(if self.power.stopping { 0.0 } else { own_a });
        if self.power.stopping && self.power.limit_a <= ENDED_A {
            self.shut(None);
            return true;
        }
        if seen.source_v < self.values.get("v_drop_out") {
            // It goes on from the bulk capacitor, until that is too low.
            let through_w = self.through_w(self.power.aim);
            self.power.loss_w = self.losses(through_w, self.power.aim.volts, seen).0;
            return true;
        }
        let parts = &self.power.parts;
        let floor_w = parts.input_w(own_a, seen).min(OWN_W);
        let limit_w = parts.input_w(self.power.limit_a, seen).max(floor_w);
        let left_w = limit_w - want.bleed_w - want.more_w.max(0.0);
        let lowest_v = self.power.aim.volts.max(parts.dc_lowest_v);
        let (_, pins_v) = self.losses(limit_w, lowest_v, seen);
        let out_w = parts.output_w(left_w, lowest_v, pins_v, self.junction_k(self.now_s));
        let aim = self.aim(out_w);
        let through_w = self.through_w(aim);
        let (loss_w, _) = self.losses(through_w, aim.volts, seen);
        self.power.aim = aim;
        self.draw(through_w + loss_w, want, limit_w * ROUNDING);
        self.power.loss_w = loss_w;
        let moves_a = (state.stage_a - aim.amps).abs();
        settled && want.at_rest && moves_a <= AT_REST_A * self.power.parts.dc_rated_a.max(1.0)
    }

    /// W that an output takes, with what discharges it.
    fn through_w(&self, aim: Aim) -> f64 {
        aim.volts * aim.amps + aim.volts * aim.volts / self.power.parts.r_out
    }

    /// Where the output goes with so many watts at most: what limits it is the power, the current that it was told, its voltage, or the
    /// sink.
    fn aim(&self, out_w: f64) -> Aim {
        let power = &self.power;
        let told_a = power.command.amps * power.parts.i_limit / power.parts.i_sense_gain;
        let highest_v = power.aimed_v();
        let held = |volts: f64, amps: f64| Aim {
            volts,
            amps,
            falls: false,
        };
        match power.sink.sinks() {
            Sinks::Battery(volts, _) if volts >= highest_v => held(volts, 0.0),
            Sinks::Battery(volts, most_a) => {
                let amps = (out_w / volts.max(1.0)).min(told_a);
                if amps <= most_a {
                    held(volts, amps)
                } else {
                    held((out_w / most_a.max(1e-6)).clamp(volts, highest_v), most_a)
                }
            }
            Sinks::Current(amps) => {
                let volts = (out_w / amps.max(1e-6)).min(highest_v);
                let falls = amps > told_a || volts < power.parts.dc_lowest_v;
                Aim {
                    volts: if falls { power.aim.volts } else { volts },
                    amps: if falls { told_a.min(amps) } else { amps },
                    falls,
                }
            }
            Sinks::Nothing | Sinks::Reversed => held(highest_v, 0.0),
        }
    }

    /// Brings the limit of the input current nearer to where it should be; says whether it is there.
    fn move_limit(&mut self, aim_a: f64) -> bool {
        let longest_s = 0.51 / self.power.feed.source.frequency;
        let passed_s = (self.now_s - self.power.looked_s).clamp(0.0, longest_s);
        let limit_a = self.power.limit_a;
        self.power.limit_a = if aim_a >= limit_a {
            (limit_a + self.values.get("ramp_up") * passed_s).min(aim_a)
        } else {
            let down = self.values.get("ramp_down");
            let step_a = if down > 0.0 { down * passed_s } else { f64::INFINITY };
            (limit_a - step_a).max(aim_a)
        };
        (self.power.limit_a - aim_a).abs() < 1e-9
    }
}
