//! What is sent, and what came of it.

use crate::scpi::Line;
use pilotage_core::RunTime;
use pilotage_evidence::event::Exchange;
use pilotage_run::permit::Withheld;
use pilotage_run::world::BenchError;
use std::time::Duration;

/// Checked directly before the first byte.
pub type Permission = Box<dyn Fn(RunTime) -> Result<(), Withheld> + Send + Sync>;

/// One message to an instrument.
pub struct Message {
    /// What is sent; several commands may be joined by `;`.
    pub line: Line,
    /// Whether it is answered.
    pub answered: bool,
    /// How long sending and answer may take.
    pub deadline: Duration,
    /// For a message that can energise.
    pub permission: Option<Permission>,
}

impl Message {
    /// A message that is answered.
    pub fn query(line: impl Into<Line>, deadline: Duration) -> Self {
        Self {
            line: line.into(),
            answered: true,
            deadline,
            permission: None,
        }
    }

    /// A message that is not answered.
    pub fn write(line: impl Into<Line>, deadline: Duration) -> Self {
        Self {
            answered: false,
            ..Self::query(line, deadline)
        }
    }
}

/// A message that went through.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Done {
    /// The reply without its terminator; empty where none was expected.
    pub reply: Vec<u8>,
    /// First byte sent.
    pub began: RunTime,
    /// Last byte received, or sent where nothing is answered.
    pub ended: RunTime,
}

/// A message's outcome: the result, and what was exchanged for it (recovery before it included).
pub type Outcome = Result<(Done, Vec<Exchange>), BenchError>;
