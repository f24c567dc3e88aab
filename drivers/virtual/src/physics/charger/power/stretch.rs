//! A stretch of time in which nothing on the power side switches: every value runs in closed form.

use super::super::super::mains::{self, Begun};
use super::course::Course;
use super::parts::Parts;
use super::rectifier::Pulse;

/// What is on the AC pins besides the network.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Pins {
    /// The source with its impedance.
    Fed,
    /// Nothing: the X capacitors discharge from this voltage.
    Alone {
        /// V at the start.
        volts: f64,
        /// s
        tau_s: f64,
    },
    /// Nothing but what the charger puts there: V rms.
    BackFed(f64),
}

/// How the bulk capacitor's voltage runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Bulk {
    /// It discharges through a resistor.
    Free {
        /// V at the start.
        volts: f64,
        /// s
        tau_s: f64,
    },
    /// The bridge makes up for what is lost: V.
    Held(f64),
    /// The power stage works: its energy is what came less what went.
    Worked {
        /// J at the start.
        joule: f64,
        /// W in, less what is lost on the way to the output and without what discharges it.
        net_w: f64,
    },
    /// The bridge charges it.
    Pulsed(Pulse),
}

/// One stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stretch {
    /// Start, angle and network of the AC side.
    pub(super) mains: mains::Stretch,
    pub(super) pins: Pins,
    /// The input current has the distortion of the input stage.
    pub(super) distorted: bool,
    pub(super) bulk: Bulk,
    /// V of the DC output's capacitance.
    pub(super) dc_v: Course,
    /// V at the contacts of the DC output.
    pub(super) contact_v: Course,
    /// V of the sink alone, while its contactor separates it from them.
    pub(super) sink_v: Option<f64>,
    /// A out of the DC output.
    pub(super) dc_a: Course,
    /// A of the power stage into the output's capacitance.
    pub(super) stage_a: Course,
    /// Discharges the output's capacitance, Ω.
    pub(super) r_out: f64,
    /// Amplitude of the output's ripple at twice the supply's frequency, as a ratio of its mean.
    pub(super) ripple: f64,
    /// A battery holds the output's voltage.
    pub(super) held: bool,
    /// The power stage switches.
    pub(super) switching: bool,
    /// A in PE that are smooth.
    pub(super) pe_a: f64,
    /// W lost in the power stage.
    pub(super) loss_w: f64,
}

/// What goes on from one stretch to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct State {
    /// V of the bulk capacitor.
    pub(super) bulk_v: f64,
    /// A through the bridge.
    pub(super) bridge_a: f64,
    /// V of the DC output's capacitance.
    pub(super) dc_v: f64,
    /// A of the power stage.
    pub(super) stage_a: f64,
}

impl Begun for Stretch {
    fn start_s(&self) -> f64 {
        self.mains.start_s
    }
}

impl Stretch {
    /// Seconds since its start; before it, nothing has happened yet.
    pub(super) fn since(&self, at_s: f64) -> f64 {
        (at_s - self.mains.start_s).max(0.0)
    }

    /// J that the power stage has taken from the bulk capacitor for its output since the start.
    fn delivered_j(&self, parts: &Parts, t: f64) -> f64 {
        let (first, now) = (self.stage_a.at(0.0), self.stage_a.at(t));
        self.dc_v.product(&self.stage_a, 0.0, t) + 0.5 * parts.l_out * (now * now - first * first)
    }

    /// J in the bulk capacitor.
    pub(super) fn bulk_j(&self, parts: &Parts, t: f64) -> f64 {
        if let Bulk::Worked { joule, net_w } = self.bulk {
            let decayed = 2.0 * t / (parts.r_bulk * parts.c_bulk);
            let mean = if decayed > 0.0 {
                -libm::expm1(-decayed) / decayed
            } else {
                1.0
            };
            let came_j = net_w * t - self.delivered_j(parts, t);
            return (joule * libm::exp(-decayed) + came_j * mean).max(0.0);
        }
        let volts = self.bulk_v(parts, t);
        0.5 * parts.c_bulk * volts * volts
    }

    /// V of the bulk capacitor, without its ripple.
    pub(super) fn bulk_v(&self, parts: &Parts, t: f64) -> f64 {
        match self.bulk {
            Bulk::Free { volts, tau_s } => volts * libm::exp(-t / tau_s),
            Bulk::Held(volts) => volts,
            Bulk::Worked { .. } => libm::sqrt(2.0 * self.bulk_j(parts, t) / parts.c_bulk),
            Bulk::Pulsed(pulse) => pulse.at(t).0.max(0.0),
        }
    }

    /// All that goes on, t after the start.
    pub(super) fn state(&self, parts: &Parts, t: f64) -> State {
        State {
            bulk_v: self.bulk_v(parts, t),
            bridge_a: match self.bulk {
                Bulk::Pulsed(pulse) => pulse.at(t).1.max(0.0),
                _ => 0.0,
            },
            dc_v: self.dc_v.at(t).max(0.0),
            stage_a: self.stage_a.at(t).max(0.0),
        }
    }
}
