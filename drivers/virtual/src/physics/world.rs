//! The world: one item on one bench. What instruments and persons do and read goes through here, whatever the item is.

use super::api::{Action, DeadPath, Fixture, Inputs, ItemSort, Node, Reported, Setup, Truth, UnknownParameter};
use super::charger::OnboardCharger;
use super::contacts::Contacts;
use super::frames::Traffic;
use super::station::Station;
use super::values::Values;
use super::wall_unit::WallUnit;
use pilotage_core::RunTime;
use pilotage_core::frames::{Map, Node as Interface};
use std::fmt::Debug;

/// What an item must be able to answer. Each is asked only about a past that the world has reached; what an item does not have
/// reads as nothing connected.
pub(super) trait Item: Debug + Send {
    /// Lets everything happen that happens by itself until then.
    fn advance(&mut self, to_s: f64);
    /// Advances, then acts.
    fn act(&mut self, at: RunTime, action: Action);
    /// The same at an angle of the supply; an item without mains has none to wait for.
    fn pilot_load_at_angle(&mut self, at: RunTime, action: Action, _angle: f64) {
        self.act(at, action);
    }
    /// What every bench has.
    fn station(&self) -> &Station;
    /// Whether the source's output is on.
    fn supply_on(&self) -> bool;
    /// Whether a contactor of the bench between a load that can hold a voltage and the item is closed, and whether that load is on. Open
    /// and off where the bench has none.
    fn load_switches(&self) -> (bool, bool) {
        (false, false)
    }
    /// Root mean square behind something that passes each frequency by another gain. Of no time at all: of a whole period.
    fn rms(&self, node: Node, span_s: (f64, f64), gain: &dyn Fn(f64) -> f64) -> f64;
    /// Mean; of no time at all: the value at that moment.
    fn mean(&self, node: Node, span_s: (f64, f64)) -> f64;
    /// Appends so many values, so far apart, at least one.
    fn samples(&self, node: Node, from_s: f64, every: (f64, usize), out: &mut Vec<f64>);
    /// Ω of what is dead.
    fn resistance(&self, what: DeadPath) -> Option<f64>;
    /// F of what is dead.
    fn capacitance(&self, _what: DeadPath) -> Option<f64> {
        None
    }
    /// Ω in series with that capacitance at a frequency.
    fn series_ohm(&self, _what: DeadPath, _hz: f64) -> Option<f64> {
        None
    }
    /// What the fixture of an inlet feels.
    fn fixture(&self) -> Fixture {
        Fixture::default()
    }
    /// V across the bench's own diode at this current.
    fn diode_drop(&self, _amps: f64) -> Option<f64> {
        None
    }
    /// Temperature of the coolant behind the item, K.
    fn coolant_k(&self, _at_s: f64) -> Option<f64> {
        None
    }
    /// Commands that the item had do not come any more, or come again.
    fn miss_commands(&mut self, _at: RunTime, _missing: bool) {}
    /// What the item says of itself.
    fn reported(&self) -> Option<Reported> {
        None
    }
    /// Temperature of the terminals, K.
    fn terminal_k(&self, at: RunTime) -> f64;
    /// Temperature of the room, K.
    fn room_k(&self) -> f64;
    /// The whole truth at the latest moment that was reached.
    fn truth(&self) -> Truth;
}

/// One item on one bench, with its recent past.
#[derive(Debug)]
pub struct World {
    sort: ItemSort,
    item: Box<dyn Item>,
    /// What goes over the bus, where the bench has an interface to one.
    traffic: Option<Traffic>,
}

impl World {
    /// A world at rest: supply off, nothing connected or asked for, door closed, stop ready, isolator unlocked.
    ///
    /// # Errors
    /// Names the parameter that does not exist, with the nearest known name, or the value that cannot be.
    pub fn new(setup: &Setup) -> Result<Self, UnknownParameter> {
        let item: Box<dyn Item> = match setup.item {
            ItemSort::WallUnit => Box::new(WallUnit::new(setup)?),
            ItemSort::Inlet | ItemSort::CableAssembly => Box::new(Contacts::new(setup)?),
            ItemSort::OnboardCharger => Box::new(OnboardCharger::new(setup)?),
        };
        Ok(Self {
            sort: setup.item,
            item,
            traffic: None,
        })
    }

    /// The same with an interface to a bus that speaks these frames. A charger speaks them too; of anything else nobody answers.
    ///
    /// # Errors
    /// As [`World::new`].
    pub fn with_frames(setup: &Setup, map: Map) -> Result<Self, UnknownParameter> {
        let values = Values::new(setup.item, &setup.amounts)?;
        let charger = (setup.item == ItemSort::OnboardCharger).then_some((&values, setup.seed));
        let traffic = Traffic::new(Interface::new(map), charger);
        Ok(Self {
            traffic: Some(traffic),
            ..Self::new(setup)?
        })
    }

    /// The interface to the bus as it is at this moment; nothing where the bench has none.
    pub fn frames(&mut self, at: RunTime) -> Option<&mut Interface> {
        self.advance(at.seconds());
        self.traffic.as_mut().map(Traffic::node)
    }

    /// Lets everything happen until then, on the bus and in the item, in the order of time.
    fn advance(&mut self, to_s: f64) {
        if let Some(traffic) = &mut self.traffic {
            while let Some(at) = traffic.next().filter(|at| at.seconds() <= to_s) {
                self.item.advance(at.seconds());
                traffic.happen(at, &mut *self.item);
            }
        }
        self.item.advance(to_s);
    }

    /// What stands on the bench.
    pub fn sort(&self) -> ItemSort {
        self.sort
    }

    /// Advances to `at`, then acts. An action that comes late acts now: time does not run backwards.
    pub fn act(&mut self, at: RunTime, action: Action) {
        self.advance(at.seconds());
        self.item.act(at, action);
    }

    /// Puts another load on the pilot, a state or the ladder, when the supply next has this angle, in radians after its rise through zero; at once
    /// where there is no supply to wait for.
    pub fn pilot_load_at_angle(&mut self, at: RunTime, action: Action, angle: f64) {
        self.advance(at.seconds());
        self.item.pilot_load_at_angle(at, action, angle);
    }

    /// The bench's digital inputs.
    pub fn words(&mut self, at: RunTime) -> Inputs {
        self.advance(at.seconds());
        let station = self.item.station();
        let (load_contactor_closed, load_on) = self.item.load_switches();
        Inputs {
            enclosure_closed: station.door_closed,
            stop_ready: !station.stop_pressed,
            supply_contactor_closed: station.contactor_closed,
            supply_on: self.item.supply_on(),
            load_contactor_closed,
            load_on,
        }
    }

    /// Root mean square over an aperture. Where `to` lies ahead, the world advances to it. Of no time at all: of a
    /// whole period of what runs then.
    pub fn rms(&mut self, node: Node, from: RunTime, to: RunTime) -> f64 {
        self.advance(to.seconds());
        let span_s = (from.seconds(), to.seconds());
        match node {
            Node::Reference => self.item.station().reference_rms(span_s.0, span_s.1),
            _ => self.item.rms(node, span_s, &|_| 1.0),
        }
    }

    /// [`World::rms`] behind something that passes each frequency by another gain: `gain` of a frequency in Hz. The
    /// pilot is passed whole, as a pulse has no single frequency.
    pub(crate) fn rms_through(&mut self, node: Node, from: RunTime, to: RunTime, gain: &dyn Fn(f64) -> f64) -> f64 {
        self.advance(to.seconds());
        let span_s = (from.seconds(), to.seconds());
        match node {
            Node::Reference => {
                let station = self.item.station();
                station.reference_rms(span_s.0, span_s.1) * station.reference_gain(span_s.1, gain)
            }
            _ => self.item.rms(node, span_s, gain),
        }
    }

    /// Mean over an aperture; of no time at all: the value at that moment.
    pub fn mean(&mut self, node: Node, from: RunTime, to: RunTime) -> f64 {
        self.advance(to.seconds());
        let span_s = (from.seconds(), to.seconds());
        match node {
            Node::Reference => self.item.station().reference_mean(span_s.0, span_s.1),
            _ => self.item.mean(node, span_s),
        }
    }

    /// Appends `count` values, `interval_s` apart, from `from` on. Any past of the last two minutes can be asked for;
    /// where the last value lies ahead, the world advances to it.
    pub fn samples(&mut self, node: Node, from: RunTime, interval_s: f64, count: usize, out: &mut Vec<f64>) {
        if count == 0 {
            return;
        }
        let from_s = from.seconds();
        let last_s = (count - 1) as f64 * interval_s;
        self.advance(from_s + last_s);
        match node {
            Node::Reference => {
                let station = self.item.station();
                out.extend((0..count).map(|k| station.reference_at(from_s + k as f64 * interval_s)));
            }
            _ => self.item.samples(node, from_s, (interval_s, count), out),
        }
    }

    /// Ω of what is dead, or `None` for an open circuit (above some 1 GΩ) and for a path that carries mains.
    pub fn resistance(&mut self, what: DeadPath, at: RunTime) -> Option<f64> {
        self.advance(at.seconds());
        self.item.resistance(what)
    }

    /// F of what is dead; `None` where there is nothing to measure.
    pub fn capacitance(&mut self, what: DeadPath, at: RunTime) -> Option<f64> {
        self.advance(at.seconds());
        self.item.capacitance(what)
    }

    /// Ω in series with the capacitance of what is dead, at a frequency in Hz; `None` where there is nothing to measure.
    pub fn series_ohm(&mut self, what: DeadPath, hz: f64, at: RunTime) -> Option<f64> {
        self.advance(at.seconds());
        self.item.series_ohm(what, hz)
    }

    /// What the fixture of an inlet feels.
    pub fn fixture(&mut self, at: RunTime) -> Fixture {
        self.advance(at.seconds());
        self.item.fixture()
    }

    /// V across the bench's own diode at this current, or `None` while the item and not the meter is on it, and where
    /// the current does not flow. Shorted, it drops what its relay does.
    pub fn diode_drop(&mut self, amps: f64, at: RunTime) -> Option<f64> {
        self.advance(at.seconds());
        self.item.diode_drop(amps)
    }

    /// Temperature of the coolant where it leaves the item, K; `None` where nothing is cooled.
    pub fn coolant_k(&mut self, at: RunTime) -> Option<f64> {
        self.advance(at.seconds());
        self.item.coolant_k(at.seconds())
    }

    /// What a charger says of itself; `None` of every other item.
    pub fn reported(&mut self, at: RunTime) -> Option<Reported> {
        self.advance(at.seconds());
        self.item.reported()
    }

    /// Temperature of the terminal, K.
    pub fn temperature_k(&mut self, at: RunTime) -> f64 {
        self.advance(at.seconds());
        self.item.terminal_k(at)
    }

    /// Temperature of the room, where the instruments stand, K.
    pub(crate) fn room_k(&self) -> f64 {
        self.item.room_k()
    }

    /// Everything that is true at `at`: for tests and the witness only. Switches and beliefs are those of the latest
    /// moment that the world has reached.
    pub fn truth(&mut self, at: RunTime) -> Truth {
        self.advance(at.seconds());
        self.item.truth()
    }
}
