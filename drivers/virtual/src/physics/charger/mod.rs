//! An on-board charger on its bench, seen from the pilot: what a wall unit shows to it, what it makes of that, and what it allows
//! itself to draw. What it does with the power is for `power` to say.
//!
//! | module | holds |
//! | --- | --- |
//! | `parameters` | the parameters |
//! | `line` | the pilot line: the bench's source, the vehicle's diode, R2, R3 and S2 |
//! | `decoder` | what the control perceives of the pilot, and the current that a duty allows |
//! | `control` | decisions: waking, wanting, closing and opening S2, sleeping |
//! | `bench` | what the bench does |
//! | `power` | the power side: supply, input, power stage, DC output, heat |
//! | `read` | what can be measured, and the truth |
//! | `steps` | a value that changes in steps, with its past |

mod bench;
mod control;
mod decoder;
mod line;
mod parameters;
mod power;
mod read;
mod steps;

pub(super) use parameters::CHARGER;
pub(super) use power::POWER;

use super::api::{Setup, UnknownParameter};
use super::pilot;
use super::queue::Queue;
use super::station::Station;
use super::values::Values;
use bench::{Bench, Proximity};
use control::{Control, Event, Times};
use decoder::{Decoder, Perceived};
use line::Line;
use power::Power;
use steps::Steps;

/// The past that is kept at least, s.
const KEEP_S: f64 = 120.0;

/// A charger on its bench, with its recent past.
#[derive(Debug)]
pub(super) struct OnboardCharger {
    now_s: f64,
    station: Station,
    queue: Queue<Event>,
    values: Values,
    bench: Bench,
    proximity: Proximity,
    line: Line,
    decoder: Decoder,
    times: Times,
    control: Control,
    pilot: pilot::History,
    power: Power,
    /// V of proximity to PE.
    proximity_v: Steps,
    /// A out of the low-voltage supply.
    low_voltage_a: Steps,
    /// V of the rail that the pilot source leads to the meter.
    rail_v: Steps,
    /// A that the pilot allows, as the control reads it.
    allowed_a: Steps,
}

impl OnboardCharger {
    /// At rest: nothing on the pilot, nothing plugged in, low voltage off.
    pub(super) fn new(setup: &Setup) -> Result<Self, UnknownParameter> {
        let values = Values::new(setup.item, &setup.amounts)?;
        let bench = Bench::new(&values);
        let line = Line::new(&values, setup.seed);
        let first = line.segment(0.0, &bench, false);
        Ok(Self {
            now_s: 0.0,
            station: Station::new(&values),
            queue: Queue::default(),
            decoder: Decoder::new(&values),
            proximity: Proximity::new(&values),
            times: Times::new(&values),
            control: Control::default(),
            pilot: pilot::History::new(first),
            power: Power::new(&values),
            proximity_v: Steps::new(0.0),
            low_voltage_a: Steps::new(0.0),
            rail_v: Steps::new(0.0),
            allowed_a: Steps::new(0.0),
            values,
            bench,
            line,
        })
    }

    /// Lets everything happen that happens by itself until `to_s`.
    fn happen_until(&mut self, to_s: f64) {
        while let Some((at_s, event)) = self.queue.take_until(to_s) {
            self.now_s = self.now_s.max(at_s);
            self.happen(event);
            self.settle();
        }
        self.now_s = self.now_s.max(to_s);
    }

    /// A rms that the charger allows itself then: what its pilot offers as it reads it, while S2 is closed; 0 while it must not
    /// draw.
    pub(super) fn allowed_current_a(&self, at_s: f64) -> f64 {
        self.allowed_a.at(at_s)
    }
}
