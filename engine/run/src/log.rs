//! The journal as the runner uses it: the first failure shuts the gate and stays known, and nothing after it is lost on
//! purpose.

use crate::halt::Halt;
use crate::permit::Gate;
use crate::world::{Clock, Journal, JournalError};
use pilotage_core::RunTime;
use pilotage_evidence::Event;

/// The journal, its clock, and whether it still works.
pub(crate) struct Log<'a, C, J> {
    clock: &'a C,
    journal: &'a mut J,
    gate: Gate,
    failed: Option<JournalError>,
    held_back: Vec<(RunTime, Event)>,
}

impl<'a, C: Clock, J: Journal> Log<'a, C, J> {
    pub(crate) fn new(clock: &'a C, journal: &'a mut J, gate: Gate) -> Self {
        Self {
            clock,
            journal,
            gate,
            failed: None,
            held_back: Vec::new(),
        }
    }

    /// Appends as far as that works: make safe goes on without a journal.
    pub(crate) fn say(&mut self, event: Event) -> Option<u64> {
        self.let_out();
        let at = self.clock.now();
        self.append(at, event)
    }

    /// Appends, or ends the run.
    pub(crate) fn put(&mut self, event: Event) -> Result<u64, Halt> {
        let seq = self.say(event);
        self.check()?;
        seq.ok_or_else(|| Halt::bench("the journal gave no sequence number"))
    }

    /// Keeps an event until [`Self::let_out`]: while everything is switched off, no disk may stand in the way.
    pub(crate) fn hold_back(&mut self, at: RunTime, event: Event) {
        self.held_back.push((at, event));
    }

    /// Appends what was held back.
    pub(crate) fn let_out(&mut self) {
        for (at, event) in std::mem::take(&mut self.held_back) {
            self.append(at, event);
        }
    }

    /// Returns when all is on disk, or ends the run.
    pub(crate) fn sync(&mut self) -> Result<(), Halt> {
        self.check()?;
        self.flush();
        self.check()
    }

    /// Brings all to the disk as far as that works.
    pub(crate) fn flush(&mut self) {
        if let Err(error) = self.journal.sync() {
            self.fail(error);
        }
    }

    /// Stores samples, or ends the run.
    pub(crate) fn store(&mut self, name: &str, samples: &[Vec<i16>]) -> Result<(String, String), Halt> {
        self.check()?;
        self.journal.store(name, samples).map_err(|error| {
            self.fail(error.clone());
            Halt::Journal(error)
        })
    }

    /// Whether it still works; the first failure ends the run.
    pub(crate) fn check(&self) -> Result<(), Halt> {
        self.failed.clone().map_or(Ok(()), |error| Err(Halt::Journal(error)))
    }

    /// Whether anything failed.
    pub(crate) fn has_failed(&self) -> bool {
        self.failed.is_some()
    }

    fn append(&mut self, at: RunTime, event: Event) -> Option<u64> {
        match self.journal.append(at, event) {
            Ok(seq) => Some(seq),
            Err(error) => {
                self.fail(error);
                None
            }
        }
    }

    fn fail(&mut self, error: JournalError) {
        self.gate.shut();
        tracing::error!(%error, "the journal failed");
        self.failed.get_or_insert(error);
    }
}
