//! The words for the power side of a charger: its DC output, its insulation, what it is told and what it says of itself.

use super::api::ProximitySet;

/// Two conductors of a charger's DC output, and its chassis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum DcPair {
    /// Plus to minus.
    PlusMinus,
    /// Plus to PE.
    PlusPe,
    /// Minus to PE.
    MinusPe,
}

/// Two parts of a charger that are insulated from each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Insulated {
    /// Both AC pins together to the chassis.
    AcToChassis,
    /// Plus of the DC output to the chassis.
    DcPlusToChassis,
    /// Minus of the DC output to the chassis.
    DcMinusToChassis,
    /// Both AC pins together to both contacts of the DC output together.
    AcToDc,
}

/// What a charger is told to do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Command {
    /// It may charge.
    pub enabled: bool,
    /// V of the DC output at most.
    pub volts: f64,
    /// A of the DC output at most.
    pub amps: f64,
}

/// What a charger says of itself, by its own sensors.
#[allow(clippy::struct_excessive_bools, reason = "each is one fact")]
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reported {
    /// The control is awake.
    pub awake: bool,
    /// S2 is closed.
    pub s2: bool,
    /// What it reads from proximity.
    pub proximity: ProximitySet,
    /// V of the DC output.
    pub dc_v: f64,
    /// A of the DC output.
    pub dc_a: f64,
    /// V rms at the AC pins.
    pub ac_v: f64,
    /// A rms into the AC pins.
    pub ac_a: f64,
    /// Temperature of the power stage, K.
    pub temperature_k: f64,
    /// It has stopped for a fault.
    pub fault: bool,
    /// Its DC output works.
    pub enabled: bool,
}
