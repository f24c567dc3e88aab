//! Why something cannot be told from a capture.

use crate::format;
use crate::measured::NoValue;
use crate::power::LineLack;
use crate::quantity::Quantity;
use crate::unit::Unit;
use std::fmt;

/// Why a parameter or an event has no value.
#[derive(Debug, Clone, PartialEq)]
pub enum Lack {
    /// There are not enough samples.
    TooFewSamples {
        /// How many there are.
        have: usize,
        /// How many are needed.
        need: usize,
    },
    /// A sample is NaN or infinite.
    NotANumber,
    /// The time between samples, or another time or frequency given, is not positive.
    NotPositive {
        /// What was given.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// The signal stays at one level.
    Steady {
        /// Its mean.
        mean: f64,
        /// Highest minus lowest.
        span: f64,
    },
    /// Fewer whole cycles than needed.
    TooFewCycles {
        /// How many there are.
        have: usize,
        /// How many are needed.
        need: usize,
        /// The level at which they were looked for.
        level: f64,
    },
    /// No whole edge of that kind.
    NoEdge {
        /// `rising` or `falling`.
        edge: &'static str,
    },
    /// The level is not between the two states.
    LevelOutside {
        /// The level.
        level: f64,
        /// The low state.
        low: f64,
        /// The high state.
        high: f64,
    },
    /// The event did not come.
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
    NoWave {
        /// The stated frequency.
        mains_hz: f64,
    },
    /// Events came, but not that one.
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
    /// The line or the rate does not allow it.
    Line(LineLack),
    /// The signal did not come to rest before the end.
    NotSettled {
        /// Still outside so long after the change, in s.
        after: f64,
        /// The value at the end.
        to: f64,
    },
}

impl std::error::Error for Lack {}

/// Levels as bare numbers, in coherent SI units.
impl fmt::Display for Lack {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.words(&|level| format!("{level:.3}")))
    }
}

/// Significant digits of a level in words.
const DIGITS: i32 = 4;

impl Lack {
    /// As the reason of a reading, with the levels in the unit of the signal.
    pub fn in_unit(&self, unit: Unit) -> NoValue {
        let show = |level: f64| match Quantity::new(level, unit.dimension) {
            Ok(quantity) => format::in_unit(quantity, unit, DIGITS),
            Err(no_value) => no_value.to_string(),
        };
        match self {
            Self::NotANumber => NoValue::NotANumber,
            other => NoValue::Missing(other.words(&show)),
        }
    }

    fn words(&self, show: &dyn Fn(f64) -> String) -> String {
        match self {
            Self::TooFewSamples { have, need } => format!("{have} samples, at least {need} are needed"),
            Self::NotANumber => "a sample is not a number".to_owned(),
            Self::NotPositive { what, value } => format!("{what} must be positive, it is {value}"),
            Self::Steady { mean, span } => {
                format!(
                    "the signal is steady at {}, with {} from lowest to highest",
                    show(*mean),
                    show(*span)
                )
            }
            Self::TooFewCycles { have, need, level } => {
                format!("{have} whole cycles at {}, at least {need} needed", show(*level))
            }
            Self::NoEdge { edge } => format!("no whole {edge} edge in the capture"),
            Self::LevelOutside { level, low, high } => format!(
                "the level {} is not between the states {} and {}",
                show(*level),
                show(*low),
                show(*high)
            ),
            Self::NoEvent {
                way,
                level,
                lowest,
                highest,
            } => format!(
                "the signal never {way} through {}; it lies between {} and {}",
                show(*level),
                show(*lowest),
                show(*highest)
            ),
            Self::NoWave { mains_hz } => format!("no two periods of the signal are a settled wave of {mains_hz} Hz"),
            Self::TooFewEvents {
                way,
                level,
                have,
                wanted,
            } => format!(
                "the signal {way} {have} times through {}, number {wanted} was asked for",
                show(*level)
            ),
            Self::NotSettled { after, to } => format!(
                "the signal is still outside of the band about its last value {} after {after:.4} s, near the end of the capture",
                show(*to)
            ),
            Self::Line(lack) => lack.to_string(),
        }
    }
}

impl From<LineLack> for Lack {
    fn from(lack: LineLack) -> Self {
        Self::Line(lack)
    }
}

impl From<Lack> for NoValue {
    fn from(lack: Lack) -> Self {
        match lack {
            Lack::NotANumber => Self::NotANumber,
            other => Self::Missing(other.to_string()),
        }
    }
}
