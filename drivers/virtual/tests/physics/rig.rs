//! A world with a clock, for tests that read like a session at the bench.

use pilotage_core::RunTime;
use pilotage_virtual::physics::{Action, Generator, Node, Pair, PilotState, Setup, Truth, World};

/// A world and the time that its test has reached.
pub(crate) struct Rig {
    pub(crate) world: World,
    pub(crate) now: RunTime,
}

impl Rig {
    /// A wall unit with some parameters that differ from a healthy one.
    pub(crate) fn new(changes: &[(&str, f64)]) -> Self {
        Self::with_seed(changes, 1)
    }

    pub(crate) fn with_seed(changes: &[(&str, f64)], seed: u64) -> Self {
        Self::of(&Setup {
            amounts: changes.iter().map(|&(name, value)| (name.to_owned(), value)).collect(),
            seed,
            ..Setup::default()
        })
    }

    pub(crate) fn of(setup: &Setup) -> Self {
        Self {
            world: World::new(setup).unwrap(),
            now: RunTime::START,
        }
    }

    /// The same, with the supply on for three seconds: booted, state A.
    pub(crate) fn booted(changes: &[(&str, f64)]) -> Self {
        let mut rig = Self::new(changes);
        rig.act(Action::Supply { on: true });
        rig.wait(3.0);
        rig
    }

    /// Booted, then state B for three seconds, so that an authorised item runs its PWM.
    pub(crate) fn offering(changes: &[(&str, f64)]) -> Self {
        let mut rig = Self::booted(changes);
        rig.load(PilotState::B);
        rig.wait(3.0);
        rig
    }

    /// Offering, then state C for two seconds.
    pub(crate) fn closed(changes: &[(&str, f64)]) -> Self {
        let mut rig = Self::offering(changes);
        rig.load(PilotState::C);
        rig.wait(2.0);
        rig
    }

    pub(crate) fn act(&mut self, action: Action) {
        self.world.act(self.now, action);
    }

    pub(crate) fn load(&mut self, state: PilotState) {
        self.act(Action::PilotLoad(state));
    }

    pub(crate) fn draw(&mut self, amps: f64) {
        self.act(Action::LoadCurrent(amps));
        self.act(Action::Load { on: true });
    }

    pub(crate) fn wait(&mut self, span_s: f64) {
        self.now = RunTime(self.now.0 + (span_s * 1e9).round() as u64);
        self.world.truth(self.now);
    }

    pub(crate) fn truth(&mut self) -> Truth {
        self.world.truth(self.now)
    }

    pub(crate) fn is_closed(&mut self) -> bool {
        let truth = self.truth();
        truth.pole_l || truth.pole_n
    }

    pub(crate) fn duty(&mut self) -> Option<f64> {
        match self.truth().generator {
            Generator::Pwm(duty) => Some(duty),
            _ => None,
        }
    }

    /// RMS over the last 200 ms.
    pub(crate) fn rms(&mut self, node: Node) -> f64 {
        self.world.rms(node, RunTime(self.now.0 - 200_000_000), self.now)
    }

    /// Mean over the last 200 ms.
    pub(crate) fn mean(&mut self, node: Node) -> f64 {
        self.world.mean(node, RunTime(self.now.0 - 200_000_000), self.now)
    }

    /// The last `span_s` of a node.
    pub(crate) fn past(&mut self, node: Node, span_s: f64, interval_s: f64) -> Vec<f64> {
        let from = RunTime(self.now.0 - (span_s * 1e9).round() as u64);
        let mut out = Vec::new();
        let count = (span_s / interval_s).floor() as usize;
        self.world.samples(node, from, interval_s, count, &mut out);
        assert_eq!(out.len(), count);
        out
    }

    /// High and low level of the pilot: its highest and lowest value over 20 ms.
    pub(crate) fn pilot_levels(&mut self) -> (f64, f64) {
        let values = self.past(Node::Pilot, 0.02, 1e-6);
        let highest = values.iter().copied().fold(f64::MIN, f64::max);
        let lowest = values.iter().copied().fold(f64::MAX, f64::min);
        (highest, lowest)
    }

    /// Seconds from now until the outlet becomes live or dead, found from its waveform at 10 kS/s within `within_s`.
    pub(crate) fn turns_after(&mut self, live: bool, within_s: f64) -> Option<f64> {
        let start = self.now;
        self.wait(within_s);
        let values = self.past(Node::Out(Pair::LN), within_s, 1e-4);
        assert!(start < self.now);
        if live {
            values.iter().position(|v| v.abs() > 100.0).map(|k| k as f64 * 1e-4)
        } else {
            // Ghost volts stay below 100 V; a sine passes them in 1 ms.
            let last = values.iter().rposition(|v| v.abs() > 100.0)?;
            (last + 100 < values.len()).then_some(last as f64 * 1e-4)
        }
    }
}
