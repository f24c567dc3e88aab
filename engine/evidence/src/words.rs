//! The closed word lists of the design: verdicts, sides, energy states, statuses.

use serde::{Deserialize, Serialize};

/// The kind of thing under test (an *item* in the sense of ISO/IEC 17025).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ItemKind {
    /// A wall unit (EVSE, mode 3).
    WallUnit,
    /// A portable cord with an in-cable box (mode 2).
    PortableCord,
    /// The charger in the vehicle.
    OnboardCharger,
    /// The vehicle's inlet.
    Inlet,
    /// A detachable cable.
    CableAssembly,
    /// A wall unit charging a vehicle, watched in line.
    ChargingSession,
    /// The bench, checked itself.
    Bench,
}

impl ItemKind {
    /// The word that files use for it, and folders of its files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::WallUnit => "wall_unit",
            Self::PortableCord => "portable_cord",
            Self::OnboardCharger => "onboard_charger",
            Self::Inlet => "inlet",
            Self::CableAssembly => "cable_assembly",
            Self::ChargingSession => "charging_session",
            Self::Bench => "bench",
        }
    }
}

/// The outcome of a judgement, a step or a run (ISO/IEC 9646; `Error` and `NotRun` are ours).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Inside the limit under the decision rule.
    Pass,
    /// Outside the limit under the decision rule.
    Fail,
    /// Neither can be said.
    Inconclusive,
    /// The bench or the program could not do it.
    Error,
    /// Not done, with a reason.
    NotRun,
}

impl Verdict {
    /// How bad it is; the worst decides.
    pub fn badness(self) -> u8 {
        match self {
            Self::Pass => 0,
            Self::NotRun => 1,
            Self::Inconclusive => 2,
            Self::Fail => 3,
            Self::Error => 4,
        }
    }
}

/// Where a fault lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// The wall unit.
    WallUnit,
    /// The vehicle.
    Vehicle,
    /// The cable or the inlet.
    CableOrInlet,
    /// The installation behind the wall unit.
    Installation,
    /// Nothing is broken: a setting, a schedule, an authorisation.
    Settings,
    /// Each in tolerance, together not.
    Pairing,
    /// The bench.
    Bench,
    /// The readings do not say.
    NotDecidable,
}

/// What a person may assume about energy. Hands only in `Isolated`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EnergyState {
    /// Supply off and locked by a person, input and output proven dead.
    Isolated,
    /// Supply may be on; the output was proven dead and nothing has energised it since.
    OutputDead,
    /// The output carries, or may carry, voltage by our own act.
    Live,
    /// Nothing proven.
    Unknown,
}

/// How a figure is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SourceStatus {
    /// Read in the text of the named document.
    Read,
    /// Read in a text that restates the named document.
    Restated,
    /// Calculated from other figures; the derivation is given.
    Derived,
    /// A habit of the trade without a clause.
    CommonPractice,
    /// Not seen in writing. It judges, and says so beside each verdict.
    FromMemory,
}

/// How uncertainty enters a verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DecisionRule {
    /// Simple acceptance, ILAC-G8:09/2019 4.2.1: no guard band.
    Simple,
    /// Guard band w = U (k = 2): inside the guard band is inconclusive.
    GuardBanded,
}

/// Signal word of a caution (ANSI Z535).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SignalWord {
    /// Will cause death or serious injury.
    Danger,
    /// Could cause death or serious injury.
    Warning,
    /// Could cause minor or moderate injury.
    Caution,
    /// Property damage.
    Notice,
}
