//! Why something cannot be told from a capture.

use crate::measured::NoValue;

/// Why a parameter or an event has no value.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Lack {
    /// There are not enough samples.
    #[error("{have} samples, at least {need} are needed")]
    TooFewSamples {
        /// How many there are.
        have: usize,
        /// How many are needed.
        need: usize,
    },
    /// A sample is NaN or infinite.
    #[error("a sample is not a number")]
    NotANumber,
    /// The time between samples, or another time or frequency given, is not positive.
    #[error("{what} must be positive, it is {value}")]
    NotPositive {
        /// What was given.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// The signal stays at one level.
    #[error("the signal is steady at {mean:.3}, with {span:.3} from lowest to highest")]
    Steady {
        /// Its mean.
        mean: f64,
        /// Highest minus lowest.
        span: f64,
    },
    /// Fewer whole cycles than needed.
    #[error("{have} whole cycles at {level:.3}, at least {need} needed")]
    TooFewCycles {
        /// How many there are.
        have: usize,
        /// How many are needed.
        need: usize,
        /// The level at which they were looked for.
        level: f64,
    },
    /// No whole edge of that kind.
    #[error("no whole {edge} edge in the capture")]
    NoEdge {
        /// `rising` or `falling`.
        edge: &'static str,
    },
    /// The level is not between the two states.
    #[error("the level {level:.3} is not between the states {low:.3} and {high:.3}")]
    LevelOutside {
        /// The level.
        level: f64,
        /// The low state.
        low: f64,
        /// The high state.
        high: f64,
    },
    /// The event did not come.
    #[error("the signal never {way} through {level:.3}; it lies between {lowest:.3} and {highest:.3}")]
    NoEvent {
        /// `rises` or `falls`.
        way: &'static str,
        /// The level.
        level: f64,
        /// Lowest value of the signal.
        lowest: f64,
        /// Highest value of the signal.
        highest: f64,
    },
    /// No stretch of the signal is a settled sine.
    #[error("no two periods of the signal are a settled wave of {mains_hz} Hz")]
    NoWave {
        /// The stated frequency.
        mains_hz: f64,
    },
    /// Events came, but not that one.
    #[error("the signal {way} {have} times through {level:.3}, number {wanted} was asked for")]
    TooFewEvents {
        /// `rises` or `falls`.
        way: &'static str,
        /// The level.
        level: f64,
        /// How many came.
        have: usize,
        /// Which was asked for, from 1.
        wanted: usize,
    },
}

impl From<Lack> for NoValue {
    fn from(lack: Lack) -> Self {
        match lack {
            Lack::NotANumber => Self::NotANumber,
            other => Self::Missing(other.to_string()),
        }
    }
}
