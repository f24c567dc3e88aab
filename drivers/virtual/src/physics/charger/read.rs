//! What can be measured on a charger without high voltage, and the whole truth.

use super::super::api::{Action, DeadPath, Generator, Node, Pair, PilotSource, ProximitySet, Reported, Seen, Truth};
use super::super::station::Station;
use super::super::world::Item;
use super::line::parallel;
use super::steps::Steps;
use super::{OnboardCharger, Perceived};
use pilotage_core::RunTime;
use std::collections::BTreeMap;

impl OnboardCharger {
    /// What changes in steps at a node; `None` where nothing is connected.
    fn steps(&self, node: Node) -> Option<&Steps> {
        match node {
            Node::Proximity => Some(&self.proximity_v),
            Node::PilotSource => Some(&self.rail_v),
            Node::LowVoltageCurrent => Some(&self.low_voltage_a),
            _ => None,
        }
    }

    /// What the control reads from proximity.
    fn proximity_read(&self) -> ProximitySet {
        match self.proximity_v() / self.values.get("pp_supply").max(1e-3) {
            ratio if ratio < self.values.get("pp_latched") => ProximitySet::Latched,
            ratio if ratio < self.values.get("pp_pressed") => ProximitySet::Pressed,
            _ => ProximitySet::Open,
        }
    }

    /// Between two AC pins, dead, with the bench's inputs across them.
    fn ac_pins_ohm(&self, pair: Pair) -> f64 {
        let inner = match pair {
            Pair::LN if self.values.yes("ac_fuse_open") => f64::INFINITY,
            Pair::LN => self.values.get("r_x_discharge"),
            Pair::LPe | Pair::NPe => self.values.get("r_iso"),
        };
        parallel(inner, self.values.get("bench_r_meter"))
    }
}

impl Item for OnboardCharger {
    fn advance(&mut self, to_s: f64) {
        self.happen_until(to_s);
    }

    fn act(&mut self, at: RunTime, action: Action) {
        self.perform(at, action);
    }

    fn station(&self) -> &Station {
        &self.station
    }

    fn supply_on(&self) -> bool {
        false
    }

    fn rms(&self, node: Node, span_s: (f64, f64), _: &dyn Fn(f64) -> f64) -> f64 {
        match node {
            Node::Pilot => self.pilot.rms(span_s.0, span_s.1),
            _ => self
                .steps(node)
                .map_or(0.0, |steps| libm::sqrt(steps.mean(span_s, |x| x * x))),
        }
    }

    fn mean(&self, node: Node, span_s: (f64, f64)) -> f64 {
        match node {
            Node::Pilot => self.pilot.mean(span_s.0, span_s.1),
            _ => self.steps(node).map_or(0.0, |steps| steps.mean(span_s, |x| x)),
        }
    }

    fn samples(&self, node: Node, from_s: f64, (interval_s, count): (f64, usize), out: &mut Vec<f64>) {
        if node == Node::Pilot {
            return self.pilot.samples(from_s, interval_s, count, out);
        }
        let steps = self.steps(node);
        let value = |k: usize| steps.map_or(0.0, |steps| steps.at(from_s + k as f64 * interval_s));
        out.extend((0..count).map(value));
    }

    fn resistance(&self, what: DeadPath) -> Option<f64> {
        match what {
            DeadPath::Proximity => (!self.is_supplied()).then(|| self.proximity_ohm()),
            DeadPath::PilotReverse => (!self.bench.connected()).then(|| self.line.reverse_ohm()),
            DeadPath::PilotSource => {
                (self.bench.source == PilotSource::Check).then(|| self.values.get("bench_r_source"))
            }
            DeadPath::AcPins(pair) => Some(self.ac_pins_ohm(pair)),
            _ => None,
        }
    }

    fn reported(&self) -> Option<Reported> {
        Some(Reported {
            awake: self.control.awake && self.is_supplied(),
            s2: self.control.s2,
            proximity: self.proximity_read(),
            dc_v: 0.0,
            dc_a: 0.0,
            ac_v: 0.0,
            ac_a: 0.0,
            temperature_k: self.room_k(),
            fault: false,
            enabled: false,
        })
    }

    fn terminal_k(&self, _: RunTime) -> f64 {
        self.room_k()
    }

    fn room_k(&self) -> f64 {
        self.values.get("ambient")
    }

    /// `commanded` is S2; `load_a` the current that the charger allows itself. Nothing feeds its AC pins.
    fn truth(&self) -> Truth {
        Truth {
            conductors_v: BTreeMap::from([
                ("in.L", 0.0),
                ("in.N", 0.0),
                ("in.PE", 0.0),
                ("out.L", 0.0),
                ("out.N", 0.0),
            ]),
            pole_l: false,
            pole_n: false,
            commanded: self.control.s2,
            generator: Generator::Off,
            seen: match (self.control.perceived, self.control.s2) {
                (Perceived::Nothing, _) => Seen::A,
                (_, true) => Seen::C,
                (_, false) => Seen::B,
            },
            fault: self.control.perceived == Perceived::Fault,
            isolator_locked: self.station.locked,
            load_a: self.allowed_current_a(self.now_s),
            terminal_k: self.room_k(),
            operations: 0,
        }
    }
}
