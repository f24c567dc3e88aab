//! What contributions to an uncertainty are called. A budget before the run and a reading of the run name them alike, so
//! that terms of one source cancel, or add, in both.

/// Names of contributions of a measuring function: terms of one name are fully correlated.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sources {
    /// Of the gain.
    pub gain: String,
    /// Of the range.
    pub range: String,
    /// Of the fixed part.
    pub fixed: String,
    /// Of the resolution, before the number of the reading.
    pub resolution: String,
    /// Of the ratio between point and instrument.
    pub ratio: String,
}

impl Sources {
    /// Of a function of an instrument that serves a point.
    pub fn new(instrument: &str, function: &str, point: &str) -> Self {
        let of = |what: &str| format!("{instrument} {function}: {what}");
        Self {
            gain: of("gain"),
            range: of("range"),
            fixed: of("fixed"),
            resolution: of("resolution, reading "),
            ratio: format!("{point}: probe ratio"),
        }
    }
}

/// What a wait does not see.
pub const LOOKS: &str = "time between two looks";

/// What is stated with a value that a person types.
pub const STATED: &str = "stated with the answer";

/// What a captured channel brings: its gain, its offset, its time base.
pub fn of_channel(point: &str, what: &str) -> String {
    format!("{point}, {what}")
}

/// Two answers are wrong by amounts that do not know of each other: their sources bear the name of the reading, so that none falls
/// out of a difference or a ratio.
pub fn of_answer(source: &str, name: &str) -> String {
    format!("{source}, {name}")
}
