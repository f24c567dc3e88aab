//! What can be measured at the contacts.

use super::super::api::{Action, Core, DeadPath, Fixture, Generator, Node, ProximitySet, Seen, Truth};
use super::super::heat::Rise;
use super::super::station::Station;
use super::super::world::Item;
use super::Contacts;
use pilotage_core::RunTime;
use std::collections::BTreeMap;

/// Current of the gap detector, A, and what it can drive at most, V.
const LOOP: (f64, f64) = (5e-3, 10.0);
/// Moments at which a span is looked at.
const MOMENTS: usize = 32;
/// Platinum, 1 kΩ at 0 °C (IEC 60751).
const PLATINUM: (f64, f64, f64) = (1000.0, 3.9083e-3, -5.775e-7);
const ZERO_CELSIUS_K: f64 = 273.15;

impl Contacts {
    fn at(&self, node: Node, at_s: f64) -> f64 {
        match node {
            Node::Contacts(first, second) => self.tester.volts_between(first, second, at_s, &self.leaks),
            Node::Loop(core) => {
                let (whole_v, parted_v) = self.loop_v(core);
                if self.flexing.parted(core, at_s) {
                    parted_v
                } else {
                    whole_v
                }
            }
            Node::ProximityLoop => {
                let (rest_v, open_v) = self.proximity_loop_v();
                if self.flexing.latch_open(at_s) { open_v } else { rest_v }
            }
            Node::ProximityVolts if !self.is_cable() => self.proximity_v(),
            Node::CoreDrop(core) => self
                .through(core, core, self.heat.rise_at(at_s))
                .map_or(0.0, |ohm| ohm * self.current_a()),
            Node::SourceCurrent => self.current_a(),
            Node::LockCurrent => self.lock.amps(at_s),
            _ => 0.0,
        }
    }

    /// V over a core at 5 mA, whole and parted.
    fn loop_v(&self, core: Core) -> (f64, f64) {
        let ohm = self.through(core, core, Rise::default());
        let whole_v = ohm.map_or(LOOP.1, |ohm| (LOOP.0 * ohm).min(LOOP.1));
        (whole_v, LOOP.1)
    }

    /// V from proximity to PE at 5 mA, as the latch stands and with its switch open by itself.
    fn proximity_loop_v(&self) -> (f64, f64) {
        let more = if self.is_cable() && self.type_1 {
            self.values.get("r_latch")
        } else {
            0.0
        };
        let volts = |ohm: f64| (LOOP.0 * ohm).min(LOOP.1);
        let ohm = self.proximity_ohm();
        (volts(ohm), volts(ohm + more))
    }

    /// The bench's 5 V behind 330 Ω, the inlet's resistor, and what the bench shows as a connector.
    fn proximity_v(&self) -> f64 {
        let connector = match self.proximity {
            ProximitySet::Open => f64::INFINITY,
            ProximitySet::Latched => self.values.get("bench_pp_latched"),
            ProximitySet::Pressed => self.values.get("bench_pp_pressed"),
        };
        let below = 1.0 / (1.0 / self.values.get("r_inlet") + 1.0 / connector);
        self.values.get("bench_pp_v") * below / (self.values.get("bench_pp_r") + below)
    }

    fn sensor(&self, number: u8, at_s: f64) -> Option<f64> {
        let (offset, fault) = match number {
            1 => ("sensor_1_offset", self.values.get("sensor_1_fault")),
            _ => ("sensor_2_offset", 0.0),
        };
        let celsius = self.ambient_k() + self.warmed_k(at_s) - ZERO_CELSIUS_K + self.values.get(offset);
        let (r0, a, b) = PLATINUM;
        match fault {
            0.0 => Some(r0 * (1.0 + a * celsius + b * celsius * celsius)),
            short if short > 1.5 => Some(0.5),
            _ => None,
        }
    }

    fn moments(from_s: f64, to_s: f64) -> impl Iterator<Item = f64> {
        (0..MOMENTS).map(move |k| from_s + (k as f64 + 0.5) / MOMENTS as f64 * (to_s - from_s))
    }
}

impl Item for Contacts {
    fn advance(&mut self, to_s: f64) {
        self.happen_until(to_s);
    }

    fn act(&mut self, at: RunTime, action: Action) {
        self.perform(at.seconds(), action);
    }

    fn station(&self) -> &Station {
        &self.station
    }

    fn supply_on(&self) -> bool {
        self.tester.on
    }

    /// All of it is DC: a gain by frequency counts at zero.
    fn rms(&self, node: Node, (from_s, to_s): (f64, f64), gain: &dyn Fn(f64) -> f64) -> f64 {
        let square: f64 = Self::moments(from_s, to_s)
            .map(|at_s| self.at(node, at_s))
            .map(|v| v * v)
            .sum();
        libm::sqrt(square / MOMENTS as f64) * gain(0.0)
    }

    fn mean(&self, node: Node, (from_s, to_s): (f64, f64)) -> f64 {
        Self::moments(from_s, to_s).map(|at_s| self.at(node, at_s)).sum::<f64>() / MOMENTS as f64
    }

    fn samples(&self, node: Node, from_s: f64, (interval_s, count): (f64, usize), out: &mut Vec<f64>) {
        let times = (0..count).map(|k| from_s + k as f64 * interval_s);
        // Only gaps change within a capture of a loop; its levels are worked out once.
        match node {
            Node::Loop(core) => {
                let (whole_v, parted_v) = self.loop_v(core);
                let volts = |at_s| {
                    if self.flexing.parted(core, at_s) {
                        parted_v
                    } else {
                        whole_v
                    }
                };
                out.extend(times.map(volts));
            }
            Node::ProximityLoop => {
                let (rest_v, open_v) = self.proximity_loop_v();
                let volts = |at_s| if self.flexing.latch_open(at_s) { open_v } else { rest_v };
                out.extend(times.map(volts));
            }
            _ => out.extend(times.map(|at_s| self.at(node, at_s))),
        }
    }

    fn resistance(&self, what: DeadPath) -> Option<f64> {
        match what {
            DeadPath::Core(from, to) => self.through(from, to, self.heat.rise_at(self.now_s)),
            DeadPath::Between(first, second) => Some(self.leaks.between(first, second)),
            DeadPath::Plug if self.is_cable() => Some(self.coded_ohm("r_pp_plug", self.plug_type_1)),
            DeadPath::Sensor(number) if !self.is_cable() => self.sensor(number, self.now_s),
            _ => None,
        }
    }

    fn capacitance(&self, what: DeadPath) -> Option<f64> {
        matches!(what, DeadPath::Between(Core::Cp, Core::Pe)).then(|| self.leaks.farad())
    }

    fn fixture(&self) -> Fixture {
        Fixture {
            pin_locked: self.lock.pin_locked(self.now_s),
            says_locked: self.lock.says_locked(self.now_s),
        }
    }

    fn terminal_k(&self, at: RunTime) -> f64 {
        let at_s = at.seconds();
        self.ambient_k() + self.heat.rise_at(at_s).terminal_k() + self.warmed_k(at_s)
    }

    fn room_k(&self) -> f64 {
        self.ambient_k()
    }

    fn truth(&self) -> Truth {
        let volts = |first, second| libm::fabs(self.at(Node::Contacts(first, second), self.now_s));
        Truth {
            conductors_v: BTreeMap::from([
                ("out.L", volts(Core::L, Core::Pe)),
                ("out.N", volts(Core::N, Core::Pe)),
                ("out.CP", volts(Core::Cp, Core::Pe)),
            ]),
            pole_l: false,
            pole_n: false,
            commanded: false,
            generator: Generator::Off,
            seen: Seen::A,
            fault: false,
            isolator_locked: self.station.locked,
            load_a: self.current_a(),
            terminal_k: self.ambient_k() + self.heat.rise_at(self.now_s).terminal_k(),
            operations: self.matings,
        }
    }
}
