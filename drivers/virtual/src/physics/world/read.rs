//! What can be measured, and the whole truth.

use std::collections::BTreeMap;

use pilotage_core::RunTime;

use super::super::api::{DeadPath, Node, Pair, PilotState, Pole, Truth};
use super::super::mains::{Network, Phasors, Switching, Wave};
use super::{Solved, World};

impl World {
    /// Root mean square over an aperture. Where `to` lies ahead, the world advances to it. Of no time at all: of a
    /// whole period of what runs then.
    pub fn rms(&mut self, node: Node, from: RunTime, to: RunTime) -> f64 {
        self.advance_to(to);
        let (from_s, to_s) = (from.seconds(), to.seconds());
        match node {
            Node::Reference => self.reference_rms(from_s, to_s),
            Node::Pilot if to_s <= from_s => libm::fabs(self.pilot.at(to_s)),
            Node::Pilot => libm::sqrt((self.pilot.integrals(from_s, to_s).1 / (to_s - from_s)).max(0.0)),
            _ => self.waves_rms(node, (from_s, to_s), &|_| 1.0),
        }
    }

    /// [`World::rms`] behind something that passes each frequency by another gain: `gain` of a frequency in Hz. The
    /// pilot is passed whole, as a pulse has no single frequency.
    pub(crate) fn rms_through(&mut self, node: Node, from: RunTime, to: RunTime, gain: &dyn Fn(f64) -> f64) -> f64 {
        self.advance_to(to);
        match node {
            Node::Pilot => self.rms(node, from, to),
            Node::Reference => self.rms(node, from, to) * self.reference_gain(to.seconds(), gain),
            _ => self.waves_rms(node, (from.seconds(), to.seconds()), gain),
        }
    }

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

    /// Mean over an aperture; of no time at all: the value at that moment.
    pub fn mean(&mut self, node: Node, from: RunTime, to: RunTime) -> f64 {
        self.advance_to(to);
        let (from_s, to_s) = (from.seconds(), to.seconds());
        match node {
            Node::Reference => self.reference_mean(from_s, to_s),
            Node::Pilot if to_s <= from_s => self.pilot.at(to_s),
            Node::Pilot => self.pilot.integrals(from_s, to_s).0 / (to_s - from_s),
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

    /// Appends `count` values, `interval_s` apart, from `from` on. Any past of the last two minutes can be asked for;
    /// where the last value lies ahead, the world advances to it.
    pub fn samples(&mut self, node: Node, from: RunTime, interval_s: f64, count: usize, out: &mut Vec<f64>) {
        let from_s = from.seconds();
        if count == 0 {
            return;
        }
        let last_s = from_s + (count - 1) as f64 * interval_s;
        self.advance(last_s);
        match node {
            Node::Pilot => self.pilot.samples(from_s, interval_s, count, out),
            Node::Reference => out.extend((0..count).map(|k| self.reference_at(from_s + k as f64 * interval_s))),
            _ => self.wave_samples(node, (from_s, last_s), (interval_s, count), out),
        }
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

    /// Ω of what is dead, or `None` for an open circuit (above some 1 GΩ) and for a path that carries mains.
    pub fn resistance(&mut self, what: DeadPath, at: RunTime) -> Option<f64> {
        self.advance_to(at);
        match what {
            DeadPath::Pole(pole) => self.dead_path(pole),
            DeadPath::Proximity => self.proximity(),
            DeadPath::PilotLoad => {
                let checked = self.bench.pilot.state == PilotState::Check;
                self.bench.pilot.chosen_ohm.filter(|_| checked)
            }
        }
    }

    /// V across the bench's own diode at this current, or `None` while the item and not the meter is on it. Shorted, it drops
    /// nothing.
    pub fn diode_drop(&mut self, amps: f64, at: RunTime) -> Option<f64> {
        self.advance_to(at);
        let checked = self.bench.pilot.state == PilotState::Check;
        let drop_v = if self.bench.pilot.shorted {
            0.0
        } else {
            self.parts.diode_v(amps)
        };
        checked.then_some(drop_v)
    }

    fn dead_path(&self, pole: Pole) -> Option<f64> {
        let conducts = match pole {
            Pole::L => self.poles[0],
            Pole::N => self.poles[1],
        };
        let dead = self.bench.source_v() <= 0.0;
        let rise = self.heat.rise_at(self.now_s);
        (conducts && dead && !self.fixed.crossed).then(|| self.paths.r_path(self.contactor.operations, rise))
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
                cable_code(self.values.get("rated_current"))
            });
        }
        let pressed = match self.values.get("latch_stuck") {
            0.0 => self.bench.latch_pressed,
            stuck => stuck > 1.5,
        };
        let latch = if pressed { self.values.get("r_latch") } else { 0.0 };
        Some(if given > 0.0 { given } else { 150.0 } + latch)
    }

    /// Temperature of the terminal, K.
    pub fn temperature_k(&mut self, at: RunTime) -> f64 {
        self.advance_to(at);
        self.paths.ambient_k + self.heat.rise_at(at.seconds()).terminal_k()
    }

    /// Temperature of the room, where the instruments stand, K.
    pub(crate) fn room_k(&self) -> f64 {
        self.paths.ambient_k
    }

    /// Everything that is true at `at`: for tests and the witness only. Switches and beliefs are those of the latest
    /// moment that the world has reached.
    pub fn truth(&mut self, at: RunTime) -> Truth {
        self.advance_to(at);
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
            isolator_locked: self.bench.locked,
            load_a: stretch.switching.flowing_a(),
            terminal_k: self.paths.ambient_k + self.heat.rise_at(self.now_s).terminal_k(),
            operations: self.contactor.operations,
        }
    }
}

/// IEC 61851-1 Annex B coding.
fn cable_code(rated_a: f64) -> f64 {
    match rated_a {
        a if a <= 13.0 => 1500.0,
        a if a <= 20.0 => 680.0,
        a if a <= 32.0 => 220.0,
        _ => 100.0,
    }
}
