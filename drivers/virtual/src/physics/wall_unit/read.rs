//! What can be measured, and the whole truth.

use std::collections::BTreeMap;

use pilotage_core::RunTime;

use super::super::api::{Action, DeadPath, Node, Pair, PilotState, Pole, Truth};
use super::super::mains::{Network, Phasors, Switching, Wave};
use super::super::station::Station;
use super::super::world::Item;
use super::{Solved, WallUnit};

impl WallUnit {
    fn waves_rms(&self, node: Node, (from_s, to_s): (f64, f64), gain: &dyn Fn(f64) -> f64) -> f64 {
        let waves = self
            .waves(node, from_s, to_s)
            .map(|(span, wave)| (span, wave.through(gain)));
        if to_s <= from_s {
            return waves.last().map_or(0.0, |(_, wave)| wave.rms());
        }
        let square: f64 = waves
            .map(|((start_s, end_s), wave)| wave.square_integral(start_s.max(from_s), end_s.min(to_s)))
            .sum();
        libm::sqrt((square / (to_s - from_s)).max(0.0))
    }

    fn wave_samples(
        &self,
        node: Node,
        (from_s, last_s): (f64, f64),
        (interval_s, count): (f64, usize),
        out: &mut Vec<f64>,
    ) {
        out.reserve(count);
        let mut done = 0;
        for ((_, end_s), wave) in self.waves(node, from_s, last_s) {
            let span = libm::ceil((end_s - from_s) / interval_s);
            let until = if span < count as f64 {
                span.max(0.0) as usize
            } else {
                count
            };
            if until > done {
                wave.samples(from_s + done as f64 * interval_s, interval_s, until - done, out);
                done = until;
            }
        }
    }

    /// The waves of a node in each stretch that overlaps. What lies before the kept past is read as its first stretch.
    fn waves(&self, node: Node, from_s: f64, to_s: f64) -> impl Iterator<Item = ((f64, f64), Wave)> + '_ {
        self.mains
            .overlapping(from_s, to_s)
            .enumerate()
            .map(move |(number, (stretch, end_s))| {
                let start_s = if number == 0 {
                    from_s.min(stretch.start_s)
                } else {
                    stretch.start_s
                };
                let middle_s = 0.5 * (stretch.start_s.max(from_s) + end_s.min(to_s));
                let phasors = self.phasors(&stretch.switching, middle_s).of(node).unwrap_or_default();
                ((start_s, end_s), stretch.wave(phasors))
            })
    }

    fn phasors(&self, switching: &Switching, at_s: f64) -> Phasors {
        let r_path = self.paths.r_path(self.contactor.operations, self.heat.rise_at(at_s));
        let is_same = |solved: &Solved| solved.switching == *switching && solved.r_path.to_bits() == r_path.to_bits();
        if let Some(solved) = self.solved.get().filter(is_same) {
            return solved.phasors;
        }
        let network = Network {
            fixed: &self.fixed,
            switching,
            r_poles: [r_path; 2],
        };
        let phasors = network.solve();
        self.solved.set(Some(Solved {
            switching: *switching,
            r_path,
            phasors,
        }));
        phasors
    }

    fn dead_path(&self, pole: Pole) -> Option<f64> {
        let conducts = match pole {
            Pole::L => self.poles[0],
            Pole::N => self.poles[1],
        };
        let dead = self.source_v() <= 0.0;
        let rise = self.heat.rise_at(self.now_s);
        (conducts && dead && !self.fixed.crossed).then(|| self.paths.r_path(self.contactor.operations, rise))
    }

    /// Burden and meter inputs stand across each pair, so that each has the two others in series beside it; the item leaks from
    /// L to PE. `None` while the supply is on. Behind poles that both touch lie the item's electronics; the isolator cuts off
    /// what lies before them.
    fn dead_pair(&self, pair: Pair) -> Option<f64> {
        let fixed = &self.fixed;
        let own_s = 1.0 / fixed.r_meter + if self.bench.burden { 1.0 / fixed.r_burden } else { 0.0 };
        let inside_s = if self.poles == [true, true] {
            fixed.standby_s
        } else {
            0.0
        };
        let (ln_s, lpe_s, npe_s) = (own_s + inside_s, own_s + 1.0 / fixed.r_iso, own_s);
        let (direct_s, first_s, second_s) = match pair {
            Pair::LN => (ln_s, lpe_s, npe_s),
            Pair::LPe => (lpe_s, ln_s, npe_s),
            Pair::NPe => (npe_s, ln_s, lpe_s),
        };
        let around_s = first_s * second_s / (first_s + second_s);
        (self.source_v() <= 0.0).then(|| 1.0 / (direct_s + around_s))
    }

    /// Type 1: 150 Ω, with the latch switch's resistor in series when pressed. Type 2: coded by the cable's rating.
    fn proximity(&self) -> Option<f64> {
        if self.socket {
            return None;
        }
        let given = self.values.get("r_pp");
        if self.type_2 {
            return Some(if given > 0.0 {
                given
            } else {
                self.values.cable_code_ohm()
            });
        }
        let pressed = match self.values.get("latch_stuck") {
            0.0 => self.bench.latch_pressed,
            stuck => stuck > 1.5,
        };
        let latch = if pressed { self.values.get("r_latch") } else { 0.0 };
        Some(if given > 0.0 { given } else { 150.0 } + latch)
    }
}

impl Item for WallUnit {
    fn advance(&mut self, to_s: f64) {
        self.happen_until(to_s);
    }

    fn act(&mut self, at: RunTime, action: Action) {
        self.perform(at, action);
    }

    fn pilot_load_at_angle(&mut self, at: RunTime, action: Action, angle: f64) {
        self.perform_at_angle(at, action, angle);
    }

    fn station(&self) -> &Station {
        &self.station
    }

    fn supply_on(&self) -> bool {
        self.bench.source.on
    }

    fn rms(&self, node: Node, (from_s, to_s): (f64, f64), gain: &dyn Fn(f64) -> f64) -> f64 {
        match node {
            // A pulse has no single frequency: it is passed whole.
            Node::Pilot => self.pilot.rms(from_s, to_s),
            _ => self.waves_rms(node, (from_s, to_s), gain),
        }
    }

    fn mean(&self, node: Node, (from_s, to_s): (f64, f64)) -> f64 {
        match node {
            Node::Pilot => self.pilot.mean(from_s, to_s),
            _ if to_s <= from_s => self
                .waves(node, to_s, to_s)
                .last()
                .map_or(0.0, |(_, wave)| wave.at(to_s)),
            _ => {
                let parts = self.waves(node, from_s, to_s);
                let sum: f64 = parts
                    .map(|((start_s, end_s), wave)| wave.integral(start_s.max(from_s), end_s.min(to_s)))
                    .sum();
                sum / (to_s - from_s)
            }
        }
    }

    fn samples(&self, node: Node, from_s: f64, (interval_s, count): (f64, usize), out: &mut Vec<f64>) {
        let last_s = from_s + (count - 1) as f64 * interval_s;
        match node {
            Node::Pilot => self.pilot.samples(from_s, interval_s, count, out),
            _ => self.wave_samples(node, (from_s, last_s), (interval_s, count), out),
        }
    }

    fn resistance(&self, what: DeadPath) -> Option<f64> {
        match what {
            DeadPath::Pole(pole) => self.dead_path(pole),
            DeadPath::Out(pair) => self.dead_pair(pair),
            DeadPath::Proximity => self.proximity(),
            DeadPath::PilotLoad => {
                let checked = self.bench.pilot.state == PilotState::Check;
                self.bench.pilot.chosen_ohm.filter(|_| checked)
            }
            _ => None,
        }
    }

    fn diode_drop(&self, amps: f64) -> Option<f64> {
        let checked = self.bench.pilot.state == PilotState::Check;
        let drop_v = self.parts.diode_drop(&self.bench.pilot, amps);
        drop_v.filter(|_| checked)
    }

    fn terminal_k(&self, at: RunTime) -> f64 {
        self.paths.ambient_k + self.heat.rise_at(at.seconds()).terminal_k()
    }

    fn room_k(&self) -> f64 {
        self.paths.ambient_k
    }

    fn truth(&self) -> Truth {
        let stretch = *self.mains.last();
        let phasors = self.phasors(&stretch.switching, self.now_s);
        let volts = |node: Node| stretch.wave(phasors.of(node).unwrap_or_default()).rms();
        let conductors_v = BTreeMap::from([
            ("in.L", volts(Node::In(Pair::LPe))),
            ("in.N", volts(Node::In(Pair::NPe))),
            ("in.PE", phasors.earth_v()),
            ("out.L", volts(Node::Out(Pair::LPe))),
            ("out.N", volts(Node::Out(Pair::NPe))),
        ]);
        Truth {
            conductors_v,
            pole_l: self.poles[0],
            pole_n: self.poles[1],
            commanded: self.logic.commanded,
            generator: self.logic.generator,
            seen: self.logic.seen,
            fault: self.logic.fault,
            isolator_locked: self.station.locked,
            load_a: stretch.switching.flowing_a(),
            terminal_k: self.paths.ambient_k + self.heat.rise_at(self.now_s).terminal_k(),
            operations: self.contactor.operations,
        }
    }
}
