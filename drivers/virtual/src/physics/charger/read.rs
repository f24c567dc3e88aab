//! What can be measured on a charger, and the whole truth.

use super::super::api::{Action, DcPair, DeadPath, Generator, Node, Pair, PilotSource, Reported, Seen, Truth};
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
        self.power.feed.source.on
    }

    fn load_switches(&self) -> (bool, bool) {
        self.sink_switches()
    }

    fn rms(&self, node: Node, span_s: (f64, f64), gain: &dyn Fn(f64) -> f64) -> f64 {
        match node {
            Node::Pilot => self.pilot.rms(span_s.0, span_s.1),
            _ if is_of_power(node) => self.power_rms(node, span_s, gain),
            _ => self
                .steps(node)
                .map_or(0.0, |steps| libm::sqrt(steps.mean(span_s, |x| x * x))),
        }
    }

    fn mean(&self, node: Node, span_s: (f64, f64)) -> f64 {
        match node {
            Node::Pilot => self.pilot.mean(span_s.0, span_s.1),
            _ if is_of_power(node) => self.power_mean(node, span_s),
            _ => self.steps(node).map_or(0.0, |steps| steps.mean(span_s, |x| x)),
        }
    }

    fn samples(&self, node: Node, from_s: f64, (interval_s, count): (f64, usize), out: &mut Vec<f64>) {
        if node == Node::Pilot {
            return self.pilot.samples(from_s, interval_s, count, out);
        }
        if is_of_power(node) {
            return self.power_samples(node, from_s, (interval_s, count), out);
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
            DeadPath::AcPins(pair) => (!self.supply_on()).then(|| self.ac_pins_ohm(pair)),
            _ => self.power_ohm(what),
        }
    }

    fn capacitance(&self, what: DeadPath) -> Option<f64> {
        self.power_farad(what)
    }

    fn series_ohm(&self, what: DeadPath, hz: f64) -> Option<f64> {
        self.power_series_ohm(what, hz)
    }

    fn coolant_k(&self, at_s: f64) -> Option<f64> {
        Some(self.coolant_out_k(at_s))
    }

    fn miss_commands(&mut self, at: RunTime, missing: bool) {
        OnboardCharger::miss_commands(self, at, missing);
    }

    fn reported(&self) -> Option<Reported> {
        Some(self.report())
    }

    fn terminal_k(&self, _: RunTime) -> f64 {
        self.room_k()
    }

    fn room_k(&self) -> f64 {
        self.values.get("ambient")
    }

    /// `commanded` is S2; `load_a` the current that the charger allows itself.
    fn truth(&self) -> Truth {
        let now_s = self.now_s;
        let ac_v = |pair: Pair| self.power_rms(Node::In(pair), (now_s, now_s), &|_| 1.0);
        let dc_v = |pair: DcPair| libm::fabs(self.power_mean(Node::Dc(pair), (now_s, now_s)));
        Truth {
            conductors_v: BTreeMap::from([
                ("in.L", ac_v(Pair::LPe)),
                ("in.N", ac_v(Pair::NPe)),
                ("in.PE", 0.0),
                ("out.L", 0.0),
                ("out.N", 0.0),
                ("dc.plus", dc_v(DcPair::PlusPe)),
                ("dc.minus", dc_v(DcPair::MinusPe)),
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
            fault: self.control.perceived == Perceived::Fault || self.power.fault.is_some(),
            isolator_locked: self.station.locked,
            load_a: self.allowed_current_a(self.now_s),
            terminal_k: self.room_k(),
            operations: 0,
        }
    }
}

/// Whether a node belongs to the power side.
fn is_of_power(node: Node) -> bool {
    matches!(
        node,
        Node::In(_) | Node::InCurrent | Node::Dc(_) | Node::AtSink | Node::DcCurrent | Node::PeCurrent
    )
}
