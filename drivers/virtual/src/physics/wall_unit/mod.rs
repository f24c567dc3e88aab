//! A wall unit on its bench: its state, and how time passes.
//!
//! | module | holds |
//! | --- | --- |
//! | `bench` | what the bench and a person do |
//! | `item` | what the item does by itself |
//! | `read` | what can be measured, and the truth |

mod bench;
mod item;
mod read;

use pilotage_core::RunTime;
use std::cell::Cell;

use super::api::{Generator, PilotState, Setup, UnknownParameter};
use super::constants::{Paths, PilotParts, PilotSwitches, fixed_network};
use super::contactor::Contactor;
use super::heat::Heat;
use super::logic::{Logic, Settings};
use super::mains;
use super::pilot::{self, Drive};
use super::queue::{Event, Queue};
use super::station::Station;
use super::values::Values;

/// A wall unit on its bench, with its recent past.
#[derive(Debug)]
pub(super) struct WallUnit {
    now_s: f64,
    station: Station,
    queue: Queue<Event>,
    values: Values,
    bench: Bench,
    parts: PilotParts,
    paths: Paths,
    fixed: mains::Fixed,
    logic: Logic,
    contactor: Contactor,
    coil_commanded: bool,
    poles: [bool; 2],
    power: Power,
    boot_s: f64,
    asleep: Option<Asleep>,
    drive: (Generator, Drive),
    pilot: pilot::History,
    mains: mains::History,
    /// The network that was solved last: many readings ask for the same one.
    solved: Cell<Option<Solved>>,
    heat: Heat,
    type_2: bool,
    socket: bool,
}

/// A network and its solution.
#[derive(Debug, Clone, Copy)]
struct Solved {
    switching: mains::Switching,
    r_path: f64,
    phasors: mains::Phasors,
}

/// Where the bench's switches stand.
#[allow(clippy::struct_excessive_bools, reason = "each is one switch")]
#[derive(Debug, Clone)]
struct Bench {
    source: mains::Source,
    pilot: PilotSwitches,
    load_on: bool,
    load_a: f64,
    burden: bool,
    latch_pressed: bool,
}

/// Power of the item's electronics.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Power {
    Dead { lost_before: bool },
    Booting,
    Alive,
}

/// The levels at which the logic stopped sampling, because more samples would change nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Asleep {
    since_s: f64,
    high_v: f64,
    low_v: Option<f64>,
}

/// The past that is kept at least, s.
const KEEP_S: f64 = 120.0;

impl WallUnit {
    /// A world at rest: supply off, state A, door closed, stop ready, isolator unlocked.
    ///
    /// # Errors
    /// Names the parameter that does not exist, with the nearest known name, or the value that cannot be.
    pub(super) fn new(setup: &Setup) -> Result<Self, UnknownParameter> {
        let values = Values::new(setup.item, &setup.amounts)?;
        let bench = Bench::new(&values);
        let parts = PilotParts::new(&values, setup);
        let contactor = Contactor::new(&values, setup.seed);
        let paths = Paths::new(&values);
        let poles = contactor.at_rest();
        let drive = (Generator::Off, parts.drive(Generator::Off, 0.0));
        let silent = parts.hum(false, bench.source.frequency);
        let first = parts.segment(0.0, drive.1, parts.circuit(&bench.pilot), silent);
        let word_is = |name: &str, word: &str| setup.words.get(name).is_some_and(|found| found == word);
        Ok(Self {
            now_s: 0.0,
            queue: Queue::default(),
            mains: mains::History::new(at_rest(&bench, poles)),
            station: Station::new(&values),
            pilot: pilot::History::new(first),
            solved: Cell::new(None),
            heat: Heat::new(paths.foster),
            fixed: fixed_network(&values, setup),
            logic: Logic::new(Settings::new(&values, word_is("ventilation", "present"))),
            coil_commanded: false,
            poles,
            power: Power::Dead { lost_before: false },
            boot_s: 0.0,
            asleep: None,
            drive,
            type_2: word_is("connector", "type_2"),
            socket: word_is("cable", "socket"),
            values,
            bench,
            parts,
            paths,
            contactor,
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

    fn advance_to(&mut self, at: RunTime) {
        self.happen_until(at.seconds());
    }

    /// V rms that stand before the item.
    fn source_v(&self) -> f64 {
        if self.bench.source.on && self.station.passes() {
            self.bench.source.volts
        } else {
            0.0
        }
    }

    fn switching(&self, poles: [bool; 2]) -> mains::Switching {
        let bench = &self.bench;
        mains::Switching {
            source_v: self.source_v(),
            frequency: bench.source.frequency,
            limit_a: bench.source.limit_a,
            poles,
            load_a: if bench.load_on { bench.load_a } else { 0.0 },
            burden: bench.burden,
            drawn_s: 0.0,
        }
    }
}

impl Bench {
    fn new(values: &Values) -> Self {
        Self {
            source: mains::Source::new(values),
            pilot: PilotSwitches {
                state: PilotState::A,
                chosen_ohm: None,
                shorted: false,
                added_f: 0.0,
            },
            load_on: false,
            load_a: 0.0,
            burden: false,
            latch_pressed: false,
        }
    }
}

/// Nothing is supplied at the start.
fn at_rest(bench: &Bench, poles: [bool; 2]) -> mains::Switching {
    mains::Switching {
        source_v: 0.0,
        frequency: bench.source.frequency,
        limit_a: bench.source.limit_a,
        poles,
        load_a: 0.0,
        burden: false,
        drawn_s: 0.0,
    }
}
