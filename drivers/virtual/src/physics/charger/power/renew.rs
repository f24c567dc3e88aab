//! Begins the next stretch: everything that switches has switched, and each course goes on from where the last one is.

use super::super::super::api::{Node, Pair};
use super::super::super::mains;
use super::super::{KEEP_S, OnboardCharger};
use super::course::first_crossing;
use super::output::Output;
use super::parts::Seen;
use super::rectifier::Pulse;
use super::stretch::{Bulk, Pins, State, Stretch};
use super::{Event, Stage};

/// V by which the source must be above the bulk capacitor for the bridge to conduct.
const CONDUCTS_V: f64 = 0.01;
/// Of the crest: above this, what the bridge makes up for is what is lost.
const FULL: f64 = 0.99;
/// Up to here the bulk capacitor falls by itself when it stands above the crest.
const NEARLY_FULL: f64 = 0.995;
/// How far ahead a falling bulk capacitor is looked at, s.
const AHEAD_S: f64 = 70.0;
/// V of a DC output that is live.
const LIVE_V: f64 = 60.0;

impl OnboardCharger {
    pub(super) fn renew_power(&mut self) {
        self.cancel(|event| matches!(event, Event::Renew | Event::Low | Event::TooHigh | Event::Collapse));
        self.regulate();
        let now_s = self.now_s;
        let seen = self.seen();
        let state = self.power.state(now_s);
        let phase = self.power.past.last().mains.phase_at(now_s);
        let output = self.output(state);
        let (bulk, next) = self.bulk(state, seen, phase, self.taken_by_choke_j(state, &output));
        let drawn_w = match bulk {
            Bulk::Worked { .. } => self.power.drawn_w,
            Bulk::Held(volts) => volts * volts / self.power.parts.r_bulk,
            Bulk::Free { .. } | Bulk::Pulsed(_) => 0.0,
        };
        let parts = &self.power.parts;
        let works = self.power.stage == Stage::Deliver;
        let ripple = if works {
            parts.rejection * parts.ripple(self.power.drawn_w, seen.omega, state.bulk_v)
        } else {
            0.0
        };
        let stretch = Stretch {
            mains: mains::Stretch {
                start_s: now_s,
                phase,
                switching: self
                    .power
                    .feed
                    .switching(self.fed_v(), parts.conductance(drawn_w, seen).0),
            },
            pins: self.pins(state),
            distorted: self.power.drawn_w > 0.0,
            bulk,
            dc_v: output.volts,
            contact_v: self.contacts(&output),
            sink_v: self.power.sink.alone_v(),
            dc_a: output.amps,
            stage_a: output.stage_a,
            r_out: self.output_ohm(),
            ripple,
            held: output.held,
            switching: works,
            pe_a: if works { parts.dc_to_pe_a } else { 0.0 },
            loss_w: self.power.loss_w,
        };
        if stretch != *self.power.past.last() {
            self.power.past.follow(stretch, KEEP_S);
        }
        for (after_s, event) in [next, output.next].into_iter().flatten() {
            self.plan(now_s + after_s, event);
        }
        self.plan_low(&stretch);
        self.warm();
    }

    /// When the bulk capacitor will be too low for the output.
    fn plan_low(&mut self, stretch: &Stretch) {
        if self.power.stage != Stage::Deliver || !matches!(stretch.bulk, Bulk::Worked { .. }) {
            return;
        }
        let parts = &self.power.parts;
        let low_j = 0.5 * parts.c_bulk * parts.bulk_low_v * parts.bulk_low_v;
        let above_j = |t: f64| stretch.bulk_j(parts, t) - low_j;
        let after_s = if above_j(0.0) <= 0.0 {
            Some(0.0)
        } else {
            first_crossing(above_j, 0.0, AHEAD_S)
        };
        if let Some(after_s) = after_s {
            self.plan(self.now_s + after_s, Event::Low);
        }
    }

    fn pins(&self, state: State) -> Pins {
        let parts = &self.power.parts;
        if self.is_fed() {
            return Pins::Fed;
        }
        if parts.back_feed_v > 0.0 && state.dc_v > LIVE_V {
            return Pins::BackFed(parts.back_feed_v);
        }
        let ohm = if self.power.pins_discharged {
            parts.r_x_active
        } else {
            parts.r_x
        };
        // What the power stage draws it draws from these capacitors as well, and at once.
        let drawn = self.power.past.last().mains.switching.drawn_s > 1e-4;
        let volts = if drawn || parts.ac_open {
            0.0
        } else {
            self.power_at(Node::In(Pair::LN), self.now_s)
        };
        Pins::Alone {
            volts,
            tau_s: (ohm * parts.c_x).max(1e-6),
        }
    }

    /// J that output choke and output capacitance have more from now on: a control that sets another current at once takes them from
    /// the bulk capacitor.
    fn taken_by_choke_j(&self, state: State, output: &Output) -> f64 {
        let parts = &self.power.parts;
        let stored_j = |volts: f64, amps: f64| 0.5 * (parts.c_out * volts * volts + parts.l_out * amps * amps);
        stored_j(output.volts.at(0.0), output.stage_a.at(0.0)) - stored_j(state.dc_v, state.stage_a)
    }

    fn bulk(&self, state: State, seen: Seen, phase: f64, less_j: f64) -> (Bulk, Option<(f64, Event)>) {
        let power = &self.power;
        let works = matches!(power.stage, Stage::Boost | Stage::Check | Stage::Deliver);
        // What an input stage loses that may not draw comes out of the bulk capacitor.
        let moves = power.drawn_w > 0.0 || power.loss_w > 0.0;
        if works && (moves || seen.source_v <= 0.0 || power.stage != Stage::Boost) {
            let worked = Bulk::Worked {
                joule: (0.5 * power.parts.c_bulk * state.bulk_v * state.bulk_v - less_j).max(0.0),
                net_w: power.drawn_w - power.loss_w,
            };
            return (worked, None);
        }
        if seen.source_v <= 0.0 {
            let ohm = if power.discharging {
                power.parts.r_bulk_active
            } else {
                power.parts.r_bulk
            };
            let free = Bulk::Free {
                volts: state.bulk_v,
                tau_s: ohm * power.parts.c_bulk,
            };
            return (free, None);
        }
        self.bridge(state, seen, phase)
    }

    /// The bridge conducts, or waits for the source to come up to the bulk capacitor.
    fn bridge(&self, state: State, seen: Seen, phase: f64) -> (Bulk, Option<(f64, Event)>) {
        let parts = &self.power.parts;
        let pi = core::f64::consts::PI;
        let (volts, crest_v) = (state.bulk_v, seen.crest_v());
        let half_phase = libm::fmod(phase, pi);
        let conducts = crest_v * libm::sin(half_phase) > volts + CONDUCTS_V;
        if conducts || state.bridge_a > 1e-3 {
            let path = parts.path(self.power.bypassed);
            let pulse = Pulse::new(path, crest_v, seen.omega, phase, (volts, state.bridge_a));
            return (Bulk::Pulsed(pulse), Some((pulse.ends_s(), Event::Renew)));
        }
        let tau_s = parts.r_bulk * parts.c_bulk;
        let free = Bulk::Free { volts, tau_s };
        if volts > crest_v {
            let after_s = tau_s * libm::log(volts / (NEARLY_FULL * crest_v));
            return (free, Some((after_s, Event::Renew)));
        }
        if volts >= FULL * crest_v {
            return (Bulk::Held(volts), None);
        }
        let level = (volts + 2.0 * CONDUCTS_V) / crest_v;
        let angle = libm::asin(level.clamp(0.0, 1.0));
        let turn = if half_phase < angle {
            angle - half_phase
        } else {
            pi - half_phase + angle
        };
        (free, Some((turn / seen.omega, Event::Renew)))
    }
}
