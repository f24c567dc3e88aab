//! Which value a reading should have, before it is taken: what was set, the middle of a window in which it must lie, or
//! the bench's own reference. It is used for uncertainties only and never judges anything.

use crate::program::{Act, ActKind, JudgeSpec, Order, Program, Setting, Step, with_inner};
use pilotage_core::{Dimension, Quantity, Tolerance};
use std::collections::BTreeMap;

/// What is read here should be what was set there.
const FOLLOWS: &[(&str, &str)] = &[
    ("ac_input[L-N].voltage", "supply.voltage"),
    ("ac_input[L1-L2].voltage", "supply.voltage"),
    ("ac_output[L-N].voltage", "supply.voltage"),
    ("ac_output[L1-L2].voltage", "supply.voltage"),
    ("supply.current", "load.current"),
    ("load.measured_current", "load.current"),
    ("ac_output[L].current", "load.current"),
    ("ac_output[L1].current", "load.current"),
    ("ac_output[L2].current", "load.current"),
    ("dc_output.current", "load.current"),
    ("dc_output.voltage", "load.voltage"),
    ("pilot.frequency", "pilot_source.frequency"),
    ("pilot.duty", "pilot_source.duty"),
];

/// What is known so far.
#[derive(Debug, Default)]
pub(crate) struct Expected {
    amounts: BTreeMap<String, Quantity>,
    words: BTreeMap<String, String>,
    /// Middles of the windows of this step, and of the steps before.
    middles: BTreeMap<String, (Quantity, f64)>,
}

impl Expected {
    /// Takes the windows of a step in.
    pub(crate) fn enter(&mut self, step: &Step) {
        let mut own = BTreeMap::new();
        for act in with_inner(&step.acts) {
            if let ActKind::Judge(specs) = &act.kind {
                for spec in specs {
                    narrowest(spec, &mut own);
                }
            }
        }
        self.middles.extend(own);
    }

    /// The windows of one act count for its own pass.
    pub(crate) fn judging(&mut self, specs: &[JudgeSpec]) {
        let mut own = BTreeMap::new();
        for spec in specs {
            narrowest(spec, &mut own);
        }
        self.middles.extend(own);
    }

    /// Something is set.
    pub(crate) fn set(&mut self, order: &Order) {
        match &order.to {
            Setting::Word(word) => {
                self.words.insert(order.point.clone(), word.clone());
            }
            Setting::Amount(value, _) => {
                self.amounts.insert(order.point.clone(), *value);
            }
        }
    }

    /// Where a point reads what was set.
    pub(crate) fn of_point(&self, point: &str, program: &Program) -> Option<Quantity> {
        if let Some(reference) = self.of_reference(point, program) {
            return Some(reference);
        }
        let follows = FOLLOWS.iter().find(|(read, _)| *read == point);
        let set = follows.map_or(point, |(_, set)| set);
        self.amounts.get(set).copied()
    }

    /// The middle of the window that a reading of this name must lie in.
    pub(crate) fn of_name(&self, name: &str) -> Option<Quantity> {
        self.middles.get(name).map(|(middle, _)| *middle)
    }

    fn of_reference(&self, point: &str, program: &Program) -> Option<Quantity> {
        let (wanted, limit) = match point {
            "reference.voltage" => ("ac", &program.dead.reference_limits.0),
            "reference.dc_voltage" => ("dc", &program.dead.reference_limits.1),
            _ => return None,
        };
        match self.words.get("reference") {
            Some(word) if word == wanted => middle(&limit.tolerance).map(|(middle, _)| middle),
            _ => Quantity::new(0.0, Dimension::VOLTAGE).ok(),
        }
    }
}

/// The narrowest of the windows that one reading must lie in.
fn narrowest(spec: &JudgeSpec, into: &mut BTreeMap<String, (Quantity, f64)>) {
    for limit in &spec.limits {
        let Some((value, width)) = middle(&limit.tolerance) else {
            continue;
        };
        let known = into.entry(spec.name.clone()).or_insert((value, width));
        if width < known.1 {
            *known = (value, width);
        }
    }
}

fn middle(tolerance: &Tolerance) -> Option<(Quantity, f64)> {
    let Tolerance::Between(low, high) = tolerance else {
        return None;
    };
    let value = Quantity::new(f64::midpoint(low.si(), high.si()), low.dimension()).ok()?;
    Some((value, high.si() - low.si()))
}

/// The orders of an act.
pub(crate) fn order_of(act: &Act) -> Option<&Order> {
    match &act.kind {
        ActKind::Quiet(order) => Some(order.order()),
        ActKind::Energise(order) => Some(order.order()),
        _ => None,
    }
}
