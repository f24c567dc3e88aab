//! One item on one bench.

use pilotage_core::RunTime;

use super::api::{
    Action, DeadPath, Generator, Inputs, Node, Pair, PilotState, ReferenceMode, Seen, Setup, Truth, UnknownParameter,
};
use super::parameters::resolve;

/// One item on one bench, with its recent past.
#[derive(Debug)]
pub struct World {
    supply_v: f64,
    on: bool,
    door: bool,
    stop: bool,
    locked: bool,
    pilot: PilotState,
    reference: ReferenceMode,
}

impl World {
    /// A world at rest: supply off, state A, door closed, stop ready.
    ///
    /// # Errors
    /// Names the parameter that does not exist, with the nearest known name, or the value that cannot be.
    pub fn new(setup: &Setup) -> Result<Self, UnknownParameter> {
        let values = resolve(&setup.amounts)?;
        Ok(Self {
            supply_v: values["supply_voltage"],
            on: false,
            door: true,
            stop: false,
            locked: false,
            pilot: PilotState::A,
            reference: ReferenceMode::Off,
        })
    }

    /// Advances to `at`, then acts.
    pub fn act(&mut self, _at: RunTime, action: Action) {
        match action {
            Action::Supply { on } => self.on = on && self.door && !self.stop,
            Action::SupplyVoltage(v) => self.supply_v = v,
            Action::PilotLoad(state) => self.pilot = state,
            Action::Reference(mode) => self.reference = mode,
            Action::Enclosure { closed } => self.door = closed,
            Action::Stop { pressed } => self.stop = pressed,
            Action::Isolator { locked } => self.locked = locked,
            _ => {}
        }
        self.on &= self.door && !self.stop;
    }

    /// Root mean square over an aperture.
    pub fn rms(&mut self, node: Node, from: RunTime, to: RunTime) -> f64 {
        match node {
            Node::In(Pair::LN | Pair::LPe) if self.on && !self.locked => self.supply_v,
            Node::Reference if self.reference == ReferenceMode::Ac => 50.0,
            _ => self.mean(node, from, to).abs(),
        }
    }

    /// Mean over an aperture.
    pub fn mean(&mut self, node: Node, _from: RunTime, _to: RunTime) -> f64 {
        match node {
            Node::Reference if self.reference == ReferenceMode::Dc => 50.0,
            Node::Pilot if self.on => 12.0,
            _ => 0.0,
        }
    }

    /// Appends `count` values, `interval_s` apart, from `from` on.
    pub fn samples(&mut self, node: Node, from: RunTime, _interval_s: f64, count: usize, out: &mut Vec<f64>) {
        let value = self.mean(node, from, from);
        out.extend(std::iter::repeat_n(value, count));
    }

    /// Ω, or `None` for an open circuit.
    pub fn resistance(&mut self, what: DeadPath, _at: RunTime) -> Option<f64> {
        match what {
            DeadPath::Proximity => Some(150.0),
            DeadPath::Pole(_) | DeadPath::PilotLoad => None,
        }
    }

    /// Temperature of the terminal, K.
    pub fn temperature_k(&mut self, _at: RunTime) -> f64 {
        296.15
    }

    /// The bench's digital inputs.
    pub fn words(&mut self, _at: RunTime) -> Inputs {
        Inputs {
            enclosure_closed: self.door,
            stop_ready: !self.stop,
            supply_contactor_closed: self.door && !self.stop,
            supply_on: self.on,
        }
    }

    /// Everything that is true at `at`: for tests and the witness only.
    pub fn truth(&mut self, at: RunTime) -> Truth {
        Truth {
            conductors_v: [("in.L", self.rms(Node::In(Pair::LPe), at, at))].into(),
            pole_l: false,
            pole_n: false,
            commanded: false,
            generator: Generator::High,
            seen: Seen::A,
            fault: false,
            load_a: 0.0,
            terminal_k: 296.15,
            operations: 0,
        }
    }
}
