//! The power side of a charger: from the supply's impedance over AC pins, bridge, bulk capacitor and power stage to the DC output, with
//! its heat and its protections. Between events everything runs in closed form.
//!
//! | module | holds |
//! | --- | --- |
//! | `parameters` | the parameters |
//! | `parts` | what it is made of; losses, what a current limit allows, distortion |
//! | `course`, `rectifier` | closed forms: lines with exponentials; the bridge that charges the bulk capacitor |
//! | `stretch` | a stretch of time in which nothing switches |
//! | `bench` | what the bench does: supply, DC sink, coolant, interlock loop, commands |
//! | `supply` | what it makes of the supply: too low, too high, dips, what stays on the pins |
//! | `stage` | starting, delivering, stopping |
//! | `regulate` | how much is drawn and given |
//! | `output` | how voltage and current of the DC output run |
//! | `renew` | begins the next stretch |
//! | `hot` | temperatures, derating |
//! | `read`, `dead` | what can be measured, live and dead |

mod bench;
mod course;
mod dead;
mod hot;
mod output;
mod parameters;
mod parts;
mod read;
mod rectifier;
mod regulate;
mod renew;
mod stage;
mod stretch;
mod supply;
#[cfg(test)]
mod tests;

pub(in super::super) use parameters::POWER;

use super::super::api::Command;
use super::super::heat::Heat;
use super::super::mains;
use super::super::values::Values;
use bench::{Cooling, Feed, Sink};
use course::Course;
use parts::{Parts, Seen};
use std::cell::RefCell;
use std::collections::VecDeque;
use stretch::{Bulk, Pins, State, Stretch};

/// Something that happens by itself on the power side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Event {
    /// The bench's contactors of supply and sink open.
    Guard,
    /// The source comes, at its angle.
    SupplyOn,
    /// The source's voltage falls to this ratio, for so many seconds.
    DipBegins(f64, f64),
    /// It is back.
    DipEnds,
    /// The X capacitors are discharged actively.
    Discharge,
    /// The supply has been wrong for too long.
    Lost,
    /// It is right again for long enough.
    Back,
    /// The bypass of the inrush resistor closes.
    Bypass,
    /// The input stage begins to work.
    Boost,
    /// The output's capacitance should be charged.
    Precharged,
    /// The control looks, once in each half wave while anything moves.
    Tick,
    /// Another duty is followed.
    Limit,
    /// The bulk capacitor is too low for the output.
    Low,
    /// The output is too high.
    TooHigh,
    /// A sink has pulled the output down.
    Collapse,
    /// It stops although S2 is open already.
    Shut,
    /// An open interlock loop is noticed.
    Interlock,
    /// The control looks at its temperature.
    Look,
    /// Something has ended in the course of a stretch.
    Renew,
}

/// Where the charger stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stage {
    /// Nothing works; the bridge charges the bulk capacitor where there is a supply.
    Off,
    /// The inrush resistor is bypassed.
    Bypassed,
    /// The input stage raises the bulk capacitor's voltage.
    Boost,
    /// The battery is looked at, and the output charged from it.
    Check,
    /// It charges.
    Deliver,
}

/// The output's relay.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Relay {
    Open,
    /// Through its resistor.
    Precharge,
    Closed,
}

/// Why it has stopped and does not start by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fault {
    /// The output was too high.
    OverVoltage,
    /// The sink pulled the output down, or is the wrong way round.
    WrongSink,
    /// The output did not come up to the battery.
    Precharge,
    /// The interlock loop is open.
    Interlock,
    /// Too hot.
    Hot,
    /// The supply was gone, and this charger takes that for a fault.
    Supply,
    /// A joint has opened.
    Joint,
    /// The control found no rest.
    Restless,
}

/// The power side, with its recent past.
#[allow(clippy::struct_excessive_bools, reason = "each is one fact")]
#[derive(Debug)]
pub(super) struct Power {
    parts: Parts,
    // the bench
    pub(super) feed: Feed,
    sink: Sink,
    cooling: Cooling,
    command: Command,
    loop_closed: bool,
    /// A resistor stands across each pair of the output.
    burdened: bool,
    // the charger
    stage: Stage,
    relay: Relay,
    bypassed: bool,
    pub(super) fault: Option<Fault>,
    /// The current is being brought down.
    stopping: bool,
    /// The output's capacitance is discharged actively.
    discharging: bool,
    /// The supply is not right.
    lost: bool,
    /// It stopped for that, and waits before it starts again.
    tripped: bool,
    /// The pins have no source, and the X capacitors are discharged actively.
    pins_discharged: bool,
    /// A that it follows of what the pilot allows.
    target_a: f64,
    /// A rms that it draws at most at the moment.
    limit_a: f64,
    /// Where the DC output goes.
    aim: Aim,
    /// W that the input stage takes.
    drawn_w: f64,
    loss_w: f64,
    looked_s: f64,
    /// A new stretch is due.
    renew: bool,
    past: mains::History<Stretch>,
    heat: Heat,
    /// The networks that were solved last: many readings ask for the same ones.
    solved: RefCell<VecDeque<(mains::Switching, mains::Phasors)>>,
    /// Events of its own in the second that runs: since when, and how many.
    busy: (f64, u32),
}

/// Where the DC output goes.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Aim {
    /// V
    volts: f64,
    /// A into the sink.
    amps: f64,
    /// The sink takes more than it may give: it is pulled down.
    falls: bool,
}

/// More events of its own than this in a second, and the control has lost its way.
pub(super) const MOST_EVENTS: u32 = 2000;

impl Power {
    pub(super) fn new(values: &Values) -> Self {
        let parts = Parts::new(values);
        let feed = Feed::new(values);
        let cooling = Cooling::new(values);
        let first = Stretch {
            mains: mains::Stretch {
                start_s: 0.0,
                phase: 0.0,
                switching: feed.switching(0.0, 0.0),
            },
            pins: Pins::Alone { volts: 0.0, tau_s: 1.0 },
            distorted: false,
            bulk: Bulk::Held(0.0),
            dc_v: Course::ZERO,
            contact_v: Course::ZERO,
            sink_v: None,
            dc_a: Course::ZERO,
            stage_a: Course::ZERO,
            r_out: parts.r_out,
            ripple: 0.0,
            held: false,
            switching: false,
            pe_a: 0.0,
            loss_w: 0.0,
        };
        Self {
            heat: Heat::new(parts.foster(true)),
            command: Command {
                enabled: true,
                volts: parts.dc_rated_v,
                amps: parts.dc_rated_a,
            },
            parts,
            feed,
            sink: Sink::new(),
            cooling,
            loop_closed: true,
            burdened: false,
            stage: Stage::Off,
            relay: Relay::Open,
            bypassed: false,
            fault: None,
            stopping: false,
            discharging: false,
            lost: true,
            tripped: false,
            pins_discharged: true,
            target_a: 0.0,
            limit_a: 0.0,
            aim: Aim::default(),
            drawn_w: 0.0,
            loss_w: 0.0,
            looked_s: 0.0,
            renew: false,
            past: mains::History::beginning(first),
            solved: RefCell::default(),
            busy: (0.0, 0),
        }
    }

    /// What goes on at a moment of the running stretch.
    fn state(&self, at_s: f64) -> State {
        let stretch = self.past.last();
        stretch.state(&self.parts, stretch.since(at_s))
    }

    /// Nothing on the power side forbids charging.
    pub(super) fn may_work(&self) -> bool {
        self.fault.is_none() && self.command.enabled
    }

    /// V that it regulates the output to, by its own sensor.
    fn aimed_v(&self) -> f64 {
        self.command.volts / self.parts.v_sense_gain
    }

    /// Counts an event of its own; says whether there are too many.
    fn is_restless(&mut self, now_s: f64) -> bool {
        if now_s - self.busy.0 > 1.0 {
            self.busy = (now_s, 0);
        }
        self.busy.1 += 1;
        self.busy.1 > MOST_EVENTS
    }
}

impl Seen {
    /// V of the crest of the source.
    fn crest_v(self) -> f64 {
        core::f64::consts::SQRT_2 * self.source_v
    }
}
