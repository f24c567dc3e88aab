//! What a run is started with, and what it gives back.

use pilotage_evidence::Verdict;
use pilotage_evidence::heading::Mode;
use std::time::Duration;

/// Number of the act in events of orders that belong to the tool itself (make safe, proving dead): no act of a program.
pub const TOOL_ACT: u32 = u32::MAX;

/// What a run is started with.
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// Virtual or real.
    pub mode: Mode,
    /// A short name for the run, unique within a folder of runs.
    pub run: String,
    /// Wall clock at the start, RFC 3339, UTC. Times of day in sentences are counted from it.
    pub started: String,
    /// Whether the hard-wired stop has to be proven.
    pub stop_proof: StopProof,
}

/// Whether the hard-wired stop has to be proven (BC-11).
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum StopProof {
    /// It is proven in this run.
    Wanted,
    /// It was proven for the bench as it stands (bench file and serial numbers).
    Fresh {
        /// When, and in which record, in words.
        said: String,
        /// How old the proof was when this run started.
        age: Duration,
    },
}

/// What a run gives back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// Verdict of the run.
    pub verdict: Verdict,
    /// The one exit code, by the precedence 6, 4, 5, 1, 3, 0.
    pub exit_code: u8,
    /// All codes that applied.
    pub codes: Vec<u8>,
    /// What could not be confirmed, and what to do by hand: to be said before anything else.
    pub not_confirmed_dead: Option<String>,
}
