//! A charger between a supply and a DC sink, with a clock, for tests that read like a session at the bench.

use pilotage_core::RunTime;
use pilotage_virtual::physics::{Action, ItemSort, Node, PilotSource, Reported, Setup, Truth, World};

/// A charger of 7.4 kW on its bench, and the time that its test has reached.
pub(crate) struct Plant {
    pub(crate) world: World,
    pub(crate) now: RunTime,
}

impl Plant {
    /// Supplied with 12 V, latched; no AC supply, no offer, no sink.
    pub(crate) fn new(changes: &[(&str, f64)]) -> Self {
        let setup = Setup {
            item: ItemSort::OnboardCharger,
            amounts: changes.iter().map(|&(name, value)| (name.to_owned(), value)).collect(),
            seed: 1,
            ..Setup::default()
        };
        let mut plant = Self {
            world: World::new(&setup).unwrap(),
            now: RunTime::START,
        };
        plant.act(Action::LowVoltage { on: true });
        plant.act(Action::Proximity(Some(150.0)));
        plant
    }

    /// A battery of this voltage, the supply on, an offer of this duty, for ten seconds.
    pub(crate) fn charging(changes: &[(&str, f64)], battery_v: f64, duty: f64) -> Self {
        let mut plant = Self::new(changes);
        plant.act(Action::SinkVoltage(battery_v));
        plant.act(Action::LoadCurrent(100.0));
        plant.act(Action::Load { on: true });
        plant.act(Action::Supply { on: true });
        plant.offer(duty);
        plant.wait(12.0);
        plant
    }

    pub(crate) fn offer(&mut self, duty: f64) {
        self.act(Action::PilotSourceDuty(duty));
        self.act(Action::PilotSource(PilotSource::Pwm));
    }

    pub(crate) fn act(&mut self, action: Action) {
        self.world.act(self.now, action);
    }

    pub(crate) fn wait(&mut self, span_s: f64) {
        self.now = RunTime(self.now.0 + (span_s * 1e9).round() as u64);
        self.world.truth(self.now);
    }

    /// A moment so far from now.
    pub(crate) fn later(&self, span_s: f64) -> RunTime {
        RunTime((self.now.0 as f64 + span_s * 1e9).round() as u64)
    }

    pub(crate) fn truth(&mut self) -> Truth {
        self.world.truth(self.now)
    }

    pub(crate) fn says(&mut self) -> Reported {
        self.world.reported(self.now).unwrap()
    }

    /// Over the last ten periods.
    pub(crate) fn rms(&mut self, node: Node) -> f64 {
        let from = self.later(-0.2);
        self.world.rms(node, from, self.now)
    }

    pub(crate) fn mean(&mut self, node: Node) -> f64 {
        let from = self.later(-0.2);
        self.world.mean(node, from, self.now)
    }

    pub(crate) fn at(&mut self, node: Node) -> f64 {
        self.world.mean(node, self.now, self.now)
    }

    pub(crate) fn samples(&mut self, node: Node, from: RunTime, interval_s: f64, count: usize) -> Vec<f64> {
        let mut out = Vec::new();
        self.world.samples(node, from, interval_s, count, &mut out);
        out
    }

    /// W into the AC pins over the last ten periods, from samples of voltage and current.
    pub(crate) fn input_w(&mut self) -> f64 {
        let from = self.later(-0.2);
        let v = self.samples(Node::In(pilotage_virtual::physics::Pair::LN), from, 1e-4, 2000);
        let i = self.samples(Node::InCurrent, from, 1e-4, 2000);
        v.iter().zip(&i).map(|(v, i)| v * i).sum::<f64>() / 2000.0
    }
}
