//! Temperatures of the power stage, and when the control looks at them.

use super::super::super::heat::{Loss, Power as Watts};
use super::super::{KEEP_S, OnboardCharger, control};
use super::{Event, Fault, Stage};

/// K by which a temperature may move between two looks.
const STEP_K: f64 = 0.5;
/// Shortest and longest time between two looks, s.
const LOOKS_S: (f64, f64) = (1.0, 60.0);

impl OnboardCharger {
    /// K of the junctions.
    pub(super) fn junction_k(&self, at_s: f64) -> f64 {
        self.power.cooling.inlet_k + self.power.heat.rise_at(at_s).contact_k()
    }

    /// K of the case.
    pub(super) fn case_k(&self, at_s: f64) -> f64 {
        self.power.cooling.inlet_k + self.power.heat.rise_at(at_s).terminal_k()
    }

    /// K of the coolant where it leaves.
    pub(in super::super) fn coolant_out_k(&self, at_s: f64) -> f64 {
        self.power.cooling.inlet_k + self.power.heat.rise_at(at_s).cable_k()
    }

    /// K of the case as the charger reads it.
    pub(super) fn sensed_k(&self, at_s: f64) -> f64 {
        self.case_k(at_s) + self.power.parts.sensor_offset_k
    }

    /// All that the power stage loses goes through junctions and case into the coolant.
    pub(super) fn warm(&mut self) {
        let lost = Loss {
            cold_w: self.power.loss_w,
            per_k: 0.0,
        };
        let watts = Watts {
            contact: lost,
            cable: lost,
        };
        self.power.heat.push(self.now_s, watts, KEEP_S);
    }

    /// While it works, the control looks again when a temperature will have moved.
    pub(super) fn plan_look(&mut self) {
        if self.power.stage == Stage::Off {
            return self.cancel(|event| *event == Event::Look);
        }
        let now_s = self.now_s;
        let moved_k = |of: &dyn Fn(f64) -> f64| (of(now_s + 1.0) - of(now_s)).abs();
        let fastest = moved_k(&|at_s| self.junction_k(at_s)).max(moved_k(&|at_s| self.case_k(at_s)));
        let after_s = (STEP_K / fastest.max(1e-6)).clamp(LOOKS_S.0, LOOKS_S.1);
        let planned_s = self.queue.when(control::Event::Power(Event::Look));
        if planned_s.is_none_or(|planned_s| planned_s > now_s + after_s) {
            self.cancel(|event| *event == Event::Look);
            self.plan(now_s + after_s, Event::Look);
        }
    }

    /// The control looks: it stops when too hot, and a cracked joint opens by itself.
    pub(super) fn look_at_heat(&mut self) {
        let now_s = self.now_s;
        let parts = &self.power.parts;
        let joint_k = self.junction_k(now_s) - self.values.get("ambient");
        if self.sensed_k(now_s) >= parts.stop_k && !parts.no_hot_stop {
            self.shut(Some(Fault::Hot));
        } else if joint_k > parts.crack_k {
            self.shut(Some(Fault::Joint));
        }
    }
}
