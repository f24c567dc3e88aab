//! What each point needs, worked out once: no file is looked at and no text searched while a run is going on.

use super::texts::joined;
use crate::scpi::Line;
use pilotage_core::Unit;
use pilotage_plan::sources::Sources;
use std::collections::BTreeMap;
use std::time::Duration;

/// Everything about a bench that its messages need.
#[derive(Debug, Clone, PartialEq)]
pub struct Tables {
    /// Instruments by name.
    pub instruments: BTreeMap<String, InstrumentTable>,
    /// What serves each point, by point.
    pub services: BTreeMap<String, Service>,
}

/// One instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct InstrumentTable {
    /// What field 2 of `*IDN?` must contain.
    pub model: String,
    /// What field 3 of `*IDN?` must be.
    pub serial: String,
    /// Deadline of an ordinary exchange.
    pub deadline: Duration,
    /// The query that empties the error queue.
    pub errors: Line,
    /// Whether it may stand in the message of a reading.
    pub errors_with_reading: bool,
    /// Messages sent once.
    pub start: Vec<Line>,
}

/// A query, as it is asked alone and together with the error query.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Query {
    /// Alone.
    pub alone: Line,
    /// With the error query at its end, where the instrument answers both in one message.
    pub with_errors: Option<Line>,
}

impl Query {
    /// A query of an instrument.
    pub(crate) fn new(text: &str, table: &InstrumentTable) -> Self {
        let both = || joined([text, table.errors.text()]).as_str().into();
        Self {
            alone: text.into(),
            with_errors: table.errors_with_reading.then(both),
        }
    }
}

/// What serves one point.
#[derive(Debug, Clone, PartialEq)]
pub struct Service {
    /// The point.
    pub point: String,
    /// The instrument.
    pub instrument: String,
    /// The function of its driver.
    pub function: String,
    /// Where that stands: `file:line` of the driver.
    pub driver: String,
    /// Value at the point divided by value at the instrument.
    pub ratio: f64,
    /// Relative standard uncertainty of the ratio.
    pub ratio_standard: Option<f64>,
    /// How.
    pub serves: Serves,
}

/// How a point is served.
#[derive(Debug, Clone, PartialEq)]
pub enum Serves {
    /// A selector.
    Choose(Vec<Choice>),
    /// A set point.
    Amount(Amount),
    /// A number that can be asked for.
    Measure(Measure),
    /// A word that can be asked for.
    Word {
        /// The query.
        ask: Query,
        /// Replies and their words.
        answers: Vec<(String, String)>,
    },
    /// Samples.
    Capture(Capture),
}

/// One position of a selector.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// The word.
    pub word: String,
    /// What sets it, the error query appended.
    pub message: Line,
    /// What reads it back.
    pub ask: Query,
    /// The reply that confirms it.
    pub answer: String,
}

/// A set point.
#[derive(Debug, Clone, PartialEq)]
pub struct Amount {
    /// Unit of `{value}`.
    pub unit: Unit,
    /// Lowest and highest value at the instrument, coherent SI.
    pub between_si: (f64, f64),
    /// What sets it, with `{value}`, the error query appended.
    pub message: String,
    /// What reads it back.
    pub ask: Query,
    /// Largest difference between set and read back, coherent SI.
    pub within_si: f64,
}

/// A number that can be asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Measure {
    /// Unit of the reply.
    pub unit: Unit,
    /// The query.
    pub ask: Query,
    /// Deadline where it differs from the instrument's.
    pub deadline: Option<Duration>,
    /// Time over which the instrument averages.
    pub aperture: Duration,
    /// Standard uncertainties, or why they are unknown.
    pub accuracy: Result<Accuracy, String>,
    /// What its contributions to an uncertainty are called.
    pub sources: Sources,
}

/// Standard uncertainties at the instrument.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Accuracy {
    /// Relative to the reading.
    pub gain: f64,
    /// Of the range, coherent SI.
    pub range_si: f64,
    /// A fixed part, coherent SI.
    pub fixed_si: f64,
    /// Of the resolution, coherent SI; independent from reading to reading.
    pub resolution_si: f64,
}

/// A capture.
#[derive(Debug, Clone, PartialEq)]
pub struct Capture {
    /// Unit of the samples after scaling.
    pub unit: Unit,
    /// Messages with `{rate}` and `{points}`.
    pub arm: Vec<String>,
    /// The query for its end.
    pub finished: Line,
    /// What the reply to `finished` means.
    pub ends: Ends,
    /// The query for `offset,scale`.
    pub scaling: Line,
    /// The query for the block.
    pub fetch: Line,
    /// Highest rate, samples a second.
    pub highest_rate_hz: f64,
    /// Most points a channel.
    pub most_points: u64,
    /// Relative standard uncertainty of the gain.
    pub gain_standard: f64,
    /// Standard uncertainty of the offset, in the unit.
    pub offset_standard: f64,
    /// Relative standard uncertainty of the time base.
    pub time_standard: f64,
    /// Standard uncertainty of the delay of a channel, in seconds.
    pub delay_standard_s: f64,
}

/// What tells that a capture has ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ends {
    /// The reply is `1`.
    AtOne,
    /// The reply is the operation condition register (SCPI-99 volume 1, chapter 9): none of *sweeping* (8), *measuring* (16),
    /// *waiting for trigger* (32), *waiting for arm* (64) and the instrument's own *acquiring* (256) is set any more.
    AtQuietRegister,
}

impl Ends {
    const ACTIVE: i64 = 8 | 16 | 32 | 64 | 256;

    /// Whether a reply says that the capture has ended; `None` where it says neither.
    pub fn ended(self, reply: i64) -> Option<bool> {
        match (self, reply) {
            (Self::AtOne, 0 | 1) => Some(reply == 1),
            (Self::AtQuietRegister, 0..=65_535) => Some(reply & Self::ACTIVE == 0),
            _ => None,
        }
    }
}
