//! What the runner is given: a bench, a clock, a journal and people.
//!
//! Futures need not be `Send`: a run lives on one current-thread runtime, virtual or real.

use crate::permit::Permit;
use futures_util::future::join_all;
use pilotage_core::{Datum, RunTime};
use pilotage_evidence::Event;
use pilotage_evidence::event::{CapturedChannel, Exchange, Trouble};
use pilotage_plan::program::{CaptureSpec, EnergisingOrder, Order, QuietOrder, ReadSpec};
use std::future::Future;
use std::time::Duration;

/// Something went wrong at the bench, with what was exchanged until then.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{}: {} → expected {}, got {}", .trouble.instrument, .trouble.command, .trouble.expected, .trouble.got)]
pub struct BenchError {
    /// What, where and how to mend it.
    pub trouble: Box<Trouble>,
    /// What was exchanged.
    pub exchanges: Vec<Exchange>,
}

/// How urgent an exchange is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Lane {
    /// Make safe and interlocks: before everything that waits.
    Guard,
    /// Everything else.
    Work,
}

/// Whose error queues are emptied.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Queues {
    /// Of instruments that were asked something in the work lane since the last time, without a question for errors in the
    /// same message: after an act.
    OfAct,
    /// Of every instrument that was used since the last time that this was wanted: after a step, and after a trouble.
    OfStep,
}

/// What a read brought.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// A number with its uncertainty, or why there is none.
    pub datum: Datum,
    /// A word, for points that answer in words.
    pub word: Option<String>,
    /// From when to when it was taken.
    pub taken: (RunTime, RunTime),
    /// The exchanges, raw replies included.
    pub exchanges: Vec<Exchange>,
}

/// What a capture brought: channels and their raw samples.
#[derive(Debug, Clone, PartialEq)]
pub struct Captured {
    /// The channels, in the order of the request.
    pub channels: Vec<CapturedChannel>,
    /// Samples of each channel.
    pub samples: Vec<Vec<i16>>,
    /// The exchanges.
    pub exchanges: Vec<Exchange>,
}

/// One instrument as it named itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Identity {
    /// Name within the bench.
    pub instrument: String,
    /// Its `*IDN?` reply.
    pub reply: String,
    /// Whether model and serial match the bench file.
    pub expected: bool,
}

/// The bench.
pub trait Bench {
    /// Asks every instrument who it is, clears it and empties its error queue.
    fn identify(&self) -> impl Future<Output = Result<Vec<Identity>, BenchError>>;
    /// The messages of an order as they will be sent: instrument and text. All orders of the program are compiled before
    /// the run; a bench that cannot send one of them is not opened.
    fn messages(&self, order: &Order) -> Vec<(String, String)>;
    /// Sets a point that cannot energise, and reads it back.
    fn apply(&self, order: &QuietOrder, lane: Lane) -> impl Future<Output = Result<Vec<Exchange>, BenchError>>;
    /// Sets a point that can energise, and reads it back. The permit is checked directly before the bytes are sent.
    fn energise(
        &self,
        order: &EnergisingOrder,
        permit: Permit,
    ) -> impl Future<Output = Result<Vec<Exchange>, BenchError>>;
    /// Reads a point.
    fn read(&self, what: &ReadSpec, lane: Lane) -> impl Future<Output = Result<Answer, BenchError>>;
    /// Reads points at the same time, in the work lane. Nothing else is asked in this act: a bench asks for errors in the
    /// same message where its instruments allow it.
    fn read_all(&self, what: &[ReadSpec]) -> impl Future<Output = Vec<Result<Answer, BenchError>>> {
        join_all(what.iter().map(|spec| self.read(spec, Lane::Work)))
    }
    /// Arms a capture; samples begin now.
    fn arm(&self, capture: &CaptureSpec) -> impl Future<Output = Result<Vec<Exchange>, BenchError>>;
    /// Waits for an armed capture to end and fetches it.
    fn fetch(&self, capture: &CaptureSpec) -> impl Future<Output = Result<Captured, BenchError>>;
    /// Called again and again, at least every half second, by the loop in which program, guards and make safe get their turns. What goes
    /// on sending by itself on this bench looks at it: when it ceases, the program hangs.
    fn alive(&self) {}
    /// Empties error queues; an error in one is a `BenchError` that names the instrument, what it was asked and its text.
    fn drain(&self, queues: Queues) -> impl Future<Output = Result<Vec<Exchange>, BenchError>>;
}

/// The clock.
pub trait Clock {
    /// Time since the run began.
    fn now(&self) -> RunTime;
    /// The wall clock since any fixed moment, where there is one: a difference to [`Clock::now`] of more than 2 s between two
    /// looks trips. None in virtual time.
    fn wall(&self) -> Option<Duration> {
        None
    }
    /// Waits.
    fn sleep(&self, span: Duration) -> impl Future<Output = ()>;
}

/// The disk or something else failed under the journal: the run must stop.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{file}: {what}: {mend}")]
pub struct JournalError {
    /// The file.
    pub file: String,
    /// What failed.
    pub what: String,
    /// How to mend it.
    pub mend: String,
}

/// The journal.
pub trait Journal {
    /// Appends an event and gives its sequence number.
    fn append(&mut self, at: RunTime, event: Event) -> Result<u64, JournalError>;
    /// Returns when all that was appended is on disk.
    fn sync(&mut self) -> Result<(), JournalError>;
    /// Stores a capture's samples beside the journal; gives file name and SHA-256.
    fn store(&mut self, name: &str, samples: &[Vec<i16>]) -> Result<(String, String), JournalError>;
}

/// What a person answers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reply {
    /// Verbatim.
    pub answer: String,
    /// Who.
    pub by: String,
}

/// What a question is for, so that a virtual person can act on it and a screen can draw it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// A question of the sequence itself.
    Sequence,
    /// Lock the isolator in its off position.
    LockIsolator,
    /// Unlock the isolator and step back.
    UnlockIsolator,
    /// Open the enclosure's guard (proof of the stop, supply off).
    OpenEnclosure,
    /// Close the enclosure's guard.
    CloseEnclosure,
    /// Press the hard-wired stop (its proof).
    PressStop,
    /// Release the hard-wired stop.
    ReleaseStop,
}

/// What a person is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct Question<'a> {
    /// The prompt.
    pub prompt: &'a str,
    /// What kind of answer is wanted.
    pub answer: &'a pilotage_plan::files::sequence::AnswerText,
    /// Whether hands are wanted at the item.
    pub hands: bool,
    /// What it is for.
    pub purpose: Purpose,
    /// What the person is asked to do with the item, in a word that a virtual person knows.
    pub does: Option<&'a str>,
}

/// The persons at the bench. `None` is a refusal.
pub trait People {
    /// Asks.
    fn ask(&self, question: Question<'_>) -> impl Future<Output = Option<Reply>>;
    /// Shows a caution and wants it acknowledged by name.
    fn acknowledge(&self, caution: &pilotage_evidence::heading::CautionText) -> impl Future<Output = Option<String>>;
    /// Completes when a person wants the run to stop.
    fn stop_wanted(&self) -> impl Future<Output = ()>;
}
