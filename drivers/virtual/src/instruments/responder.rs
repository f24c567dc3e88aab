//! The contract between a link and an instrument, in two phases, so that a reading is made over a span of time that has
//! already passed when it is computed: the world may be asked about the past, never about the future.
//!
//! ```text
//! let mut pending = instrument.respond(line, clock.now());
//! let reply = loop {
//!     clock.sleep_until(pending.ready);
//!     match instrument.finish(clock.now()) {
//!         Outcome::Pending(next) => pending = next,   // a line with several commands has several such times
//!         Outcome::Done(bytes) => break bytes,        // empty where nothing is to be sent
//!     }
//! };
//! ```

use pilotage_core::RunTime;

/// A line has been taken; something will have happened at `ready`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pending {
    /// When [`Responder::finish`] is to be called: the end of the command's execution, of an aperture, of a settling time.
    pub ready: RunTime,
}

/// What a call of [`Responder::finish`] brought.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// It is too early, or a further command of the same line is being executed: call again at this time.
    Pending(Pending),
    /// The line is done. The bytes are the whole reply with its terminator (LF), or empty where there is none: after
    /// commands, and after a line with a command error (−1xx), whose replies are withheld. A query that fails otherwise
    /// adds nothing to the reply. What went wrong waits in the error queue.
    Done(Vec<u8>),
}

/// An instrument as its link sees it.
///
/// One line at a time: a line that comes before the former is done interrupts it, its reply is lost, and −410 is queued
/// (IEEE 488.2 6.3.2.3). A link that serves one instrument from one task never meets that.
pub trait Responder {
    /// Takes one whole line, without its terminator. Nothing has happened in the world when this returns.
    fn respond(&mut self, line: &[u8], now: RunTime) -> Pending;

    /// Executes what is due at `now`. Calling late is harmless: a reading covers the span that ended at `ready`, an
    /// order takes effect at `now`.
    fn finish(&mut self, now: RunTime) -> Outcome;
}
