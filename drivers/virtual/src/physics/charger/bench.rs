//! What the bench does to the charger: guard, pilot source, proximity, low voltage; supply and DC sink are for `power`.

use super::super::api::{Action, PilotSource, ProximitySet};
use super::super::values::Values;
use super::OnboardCharger;
use super::line::parallel;
use pilotage_core::RunTime;

/// The proximity circuit of the charger (SAE J1772): R4 from its supply, R5 to PE.
#[derive(Debug, Clone)]
pub(super) struct Proximity {
    supply_v: f64,
    r4: f64,
    /// R5 with the meter beside it, Ω.
    inlet_ohm: f64,
    /// Below this share of the supply it takes the connector for latched.
    latched: f64,
    /// Below this share of the supply it takes the connector for there, and its button for pressed.
    pressed: f64,
    ignores_latch: bool,
}

impl Proximity {
    pub(super) fn new(values: &Values) -> Self {
        Self {
            supply_v: values.get("pp_supply"),
            r4: values.get("r4"),
            inlet_ohm: parallel(values.get("r5"), values.get("bench_r_meter")),
            latched: values.get("pp_latched"),
            pressed: values.get("pp_pressed"),
            ignores_latch: values.yes("ignores_latch"),
        }
    }
}

/// Where the bench's switches stand.
#[derive(Debug, Clone)]
pub(super) struct Bench {
    pub(super) source: PilotSource,
    pub(super) duty: f64,
    pub(super) frequency: f64,
    pub(super) jitter: f64,
    pub(super) high_v: f64,
    pub(super) low_v: f64,
    pub(super) added_f: f64,
    /// When the pulse that runs began, s.
    pub(super) epoch_s: Option<f64>,
    /// Ω from proximity to PE.
    pub(super) proximity: Option<f64>,
    /// Commands that it had do not come any more.
    pub(super) commands_missing: bool,
    low_voltage_on: bool,
    low_voltage_v: f64,
}

impl Bench {
    pub(super) fn new(values: &Values) -> Self {
        Self {
            source: PilotSource::Off,
            duty: 0.5,
            frequency: 1000.0,
            jitter: 0.0,
            high_v: 12.0,
            low_v: -12.0,
            added_f: 0.0,
            epoch_s: None,
            proximity: None,
            commands_missing: false,
            low_voltage_on: false,
            low_voltage_v: values.get("low_voltage"),
        }
    }

    /// High and low rail of the pulse, V.
    pub(super) fn rails_v(&self) -> (f64, f64) {
        match self.source {
            PilotSource::PositiveOnly => (self.high_v, 0.0),
            _ => (self.high_v, self.low_v),
        }
    }

    /// Whether the source's pilot is led to the charger.
    pub(super) fn connected(&self) -> bool {
        !matches!(
            self.source,
            PilotSource::Off | PilotSource::Check | PilotSource::CheckHigh | PilotSource::CheckLow
        )
    }

    /// V at the low-voltage pins.
    pub(super) fn low_voltage(&self) -> f64 {
        if self.low_voltage_on { self.low_voltage_v } else { 0.0 }
    }

    /// V of the rail that is led to the meter, behind the source's resistor.
    pub(super) fn rail_v(&self, r_source: f64, r_meter: f64) -> f64 {
        let rail_v = match self.source {
            PilotSource::CheckHigh => self.high_v,
            PilotSource::CheckLow => self.low_v,
            _ => 0.0,
        };
        rail_v * r_meter / (r_meter + r_source)
    }

    fn act(&mut self, now_s: f64, action: Action) {
        match action {
            Action::PilotSource(source) => self.source = source,
            Action::PilotSourceDuty(duty) => self.duty = duty.clamp(0.0, 1.0),
            Action::PilotSourceFrequency(hertz) => self.frequency = hertz.max(1.0),
            Action::PilotSourceJitter(jitter) => self.jitter = jitter.max(0.0),
            Action::PilotSourceHigh(volts) => self.high_v = volts,
            Action::PilotSourceLow(volts) => self.low_v = volts,
            Action::PilotCapacitance(farad) => self.added_f = farad.max(0.0),
            Action::Proximity(ohm) => self.proximity = ohm,
            Action::LowVoltage { on } => self.low_voltage_on = on,
            Action::LowVoltageLevel(volts) => self.low_voltage_v = volts.max(0.0),
            _ => {}
        }
        // Every change of the pulse begins it anew.
        if matches!(
            action,
            Action::PilotSource(_)
                | Action::PilotSourceDuty(_)
                | Action::PilotSourceFrequency(_)
                | Action::PilotSourceJitter(_)
        ) {
            self.epoch_s = Some(now_s);
        }
    }
}

impl OnboardCharger {
    /// Commands that it had do not come any more, or come again. What it then may, it is told.
    pub(super) fn miss_commands(&mut self, at: RunTime, missing: bool) {
        self.happen_until(at.seconds());
        self.bench.commands_missing = missing;
        self.settle();
    }

    /// Advances to `at`, then acts.
    pub(super) fn perform(&mut self, at: RunTime, action: Action) {
        self.happen_until(at.seconds());
        match action {
            Action::Enclosure { closed } => {
                self.station.door_closed = closed;
                self.follow_guard();
            }
            Action::Stop { pressed } => {
                self.station.stop_pressed = pressed;
                self.follow_guard();
            }
            Action::Isolator { locked } => {
                self.station.locked = locked;
                self.follow_guard();
            }
            Action::Reference(mode) => self.station.set_reference(self.now_s, mode),
            other => {
                self.bench.act(self.now_s, other);
                self.act_on_power(other);
            }
        }
        self.settle();
    }

    /// V of proximity to PE: R4 from the supply, R5 to PE, and what the bench has plugged in (SAE J1772 circuit).
    pub(super) fn proximity_v(&self) -> f64 {
        if !self.is_supplied() {
            return 0.0;
        }
        let down = self.proximity_ohm();
        self.proximity.supply_v * down / (self.proximity.r4 + down)
    }

    /// Ω from proximity to PE, without R4 and its supply.
    pub(super) fn proximity_ohm(&self) -> f64 {
        parallel(self.proximity.inlet_ohm, self.bench.proximity.unwrap_or(f64::INFINITY))
    }

    /// What its control makes of the proximity circuit.
    pub(super) fn perceived_proximity(&self) -> ProximitySet {
        let circuit = &self.proximity;
        match self.proximity_v() / circuit.supply_v.max(1e-3) {
            ratio if circuit.ignores_latch || ratio < circuit.latched => ProximitySet::Latched,
            ratio if ratio < circuit.pressed => ProximitySet::Pressed,
            _ => ProximitySet::Open,
        }
    }
}
