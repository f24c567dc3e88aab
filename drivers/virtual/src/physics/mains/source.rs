//! What the bench sets of the source in front of an item.

use super::super::api::Action;
use super::super::values::Values;

/// The source's output.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Source {
    /// It is on.
    pub(in super::super) on: bool,
    /// V rms.
    pub(in super::super) volts: f64,
    /// Hz.
    pub(in super::super) frequency: f64,
    /// A rms at which it folds back.
    pub(in super::super) limit_a: f64,
}

impl Source {
    /// Off, as the nameplate says, without a limit.
    pub(in super::super) fn new(values: &Values) -> Self {
        Self {
            on: false,
            volts: values.get("supply_voltage"),
            frequency: values.get("supply_frequency"),
            limit_a: f64::INFINITY,
        }
    }

    /// What an action sets of it; whether it may be on is for the guard to say.
    pub(in super::super) fn act(&mut self, action: Action) {
        match action {
            Action::SupplyVoltage(volts) => self.volts = volts.max(0.0),
            Action::SupplyFrequency(hertz) => self.frequency = hertz.max(1.0),
            Action::SupplyCurrentLimit(amps) => self.limit_a = amps.max(0.0),
            _ => {}
        }
    }
}
