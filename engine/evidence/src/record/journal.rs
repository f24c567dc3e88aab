//! The live journal. A write or a sync that failed once is fatal: it is never tried again as if nothing had happened, because
//! what a disk reported once it may not report twice.

use super::chain::{self, START};
use crate::event::{Event, Stamped};
use pilotage_core::RunTime;
use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Where a journal's lines go.
pub trait Sink: Write {
    /// Returns when all that was written is on disk.
    fn sync(&mut self) -> io::Result<()>;
}

impl Sink for File {
    fn sync(&mut self) -> io::Result<()> {
        self.sync_data()
    }
}

impl Sink for Vec<u8> {
    fn sync(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Something under the record could not be written.
#[derive(Debug, thiserror::Error)]
#[error("{file}: {what}; {mend}")]
pub struct WriteError {
    /// The file.
    pub file: String,
    /// What failed.
    pub what: String,
    /// How to mend it.
    pub mend: String,
    /// What the system said.
    #[source]
    pub source: Option<io::Error>,
}

impl WriteError {
    pub(super) fn io(file: &Path, doing: &str, source: io::Error) -> Self {
        Self {
            file: file.display().to_string(),
            what: format!("{doing} failed: {source}"),
            mend: "check that the disk has room and may be written, then run again into a new folder".to_owned(),
            source: Some(source),
        }
    }

    pub(super) fn said(file: &Path, what: &str, mend: &str) -> Self {
        Self {
            file: file.display().to_string(),
            what: what.to_owned(),
            mend: mend.to_owned(),
            source: None,
        }
    }
}

/// Bytes of lines that wait at most before they are written: a write of one line costs as much as making it.
const TOGETHER: usize = 32 * 1024;

/// Appends events to a journal. Lines wait in memory until they are many, or somebody writes or syncs; whoever owns a journal
/// sees to it that none waits for long.
#[derive(Debug)]
pub struct JournalWriter<S: Sink> {
    /// Taken out by [`JournalWriter::into_sink`] alone.
    sink: Option<S>,
    name: PathBuf,
    head: String,
    lines: u64,
    state: State,
    /// Lines that wait.
    waiting: Vec<u8>,
}

#[derive(Debug)]
enum State {
    Works,
    /// A write failed while nobody asked; the next who asks is told.
    Untold(WriteError),
    Broken,
}

impl<S: Sink> JournalWriter<S> {
    /// Writes to `sink`; `name` is only for messages.
    pub fn new(sink: S, name: impl Into<PathBuf>) -> Self {
        Self {
            sink: Some(sink),
            name: name.into(),
            head: START.to_owned(),
            lines: 0,
            state: State::Works,
            waiting: Vec::new(),
        }
    }

    /// Appends an event and gives it back with its sequence number. It is on disk after the next [`JournalWriter::sync`].
    pub fn append(&mut self, at: RunTime, event: Event) -> Result<Stamped, WriteError> {
        self.works()?;
        let stamped = Stamped {
            seq: self.lines,
            at,
            event,
        };
        self.head = chain::line(&self.head, &stamped, &mut self.waiting).map_err(|error| {
            WriteError::said(
                &self.name,
                &format!("an event has no JSON form: {error}"),
                "report this",
            )
        })?;
        self.lines += 1;
        if self.waiting.len() >= TOGETHER {
            self.write()?;
        }
        Ok(stamped)
    }

    /// Writes what waits.
    pub fn write(&mut self) -> Result<(), WriteError> {
        self.works()?;
        let written = match &mut self.sink {
            Some(sink) if !self.waiting.is_empty() => sink.write_all(&self.waiting),
            _ => Ok(()),
        };
        self.waiting.clear();
        self.fatal("writing", written)
    }

    /// As [`JournalWriter::write`], where nobody can be told of a failure now.
    pub(super) fn write_untold(&mut self) {
        if let Err(error) = self.write() {
            self.state = match std::mem::replace(&mut self.state, State::Broken) {
                State::Untold(earlier) => State::Untold(earlier),
                _ => State::Untold(error),
            };
        }
    }

    /// Returns when all that was appended is on disk.
    pub fn sync(&mut self) -> Result<(), WriteError> {
        self.write()?;
        let synced = self
            .sink
            .as_mut()
            .map_or(Ok(()), |sink| sink.flush().and_then(|()| sink.sync()));
        self.fatal("syncing", synced)
    }

    /// Hash of the last line.
    pub fn head(&self) -> &str {
        &self.head
    }

    /// Number of lines.
    pub fn lines(&self) -> u64 {
        self.lines
    }

    /// The sink with all lines, e.g. the bytes of a journal in memory.
    pub fn into_sink(mut self) -> Result<S, WriteError> {
        self.write()?;
        self.sink
            .take()
            .ok_or_else(|| WriteError::said(&self.name, "the journal has ended", "report this"))
    }

    /// Nothing is appended from now on.
    pub(super) fn end(&mut self) {
        self.state = State::Broken;
    }

    fn works(&mut self) -> Result<(), WriteError> {
        match std::mem::replace(&mut self.state, State::Broken) {
            State::Works => {
                self.state = State::Works;
                Ok(())
            }
            State::Untold(error) => Err(error),
            State::Broken => {
                let mend = "the run must end here; nothing more is written into this folder";
                Err(WriteError::said(&self.name, "an earlier write or sync failed", mend))
            }
        }
    }

    fn fatal(&mut self, doing: &str, done: io::Result<()>) -> Result<(), WriteError> {
        done.map_err(|error| {
            self.end();
            WriteError::io(&self.name, doing, error)
        })
    }
}

impl<S: Sink> Drop for JournalWriter<S> {
    /// A run that ends by a panic leaves its last lines all the same.
    fn drop(&mut self) {
        if matches!(self.state, State::Works) {
            self.write_untold();
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::{JournalWriter, Sink, TOGETHER};
    use crate::event::Event;
    use pilotage_core::RunTime;
    use std::io::{self, Write};

    /// A disk whose `fails_at`-th operation fails once.
    struct Disk {
        operations: u32,
        fails_at: u32,
    }

    impl Disk {
        fn operation(&mut self) -> io::Result<()> {
            self.operations += 1;
            if self.operations == self.fails_at {
                Err(io::ErrorKind::StorageFull.into())
            } else {
                Ok(())
            }
        }
    }

    impl Write for Disk {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.operation().map(|()| bytes.len())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    impl Sink for Disk {
        fn sync(&mut self) -> io::Result<()> {
            self.operation()
        }
    }

    fn event() -> Event {
        Event::StepStarted { step: 0 }
    }

    #[test]
    fn a_failed_write_or_sync_is_fatal_for_good() {
        for fails_at in [1, 2] {
            let mut journal = JournalWriter::new(
                Disk {
                    operations: 0,
                    fails_at,
                },
                "journal.txt",
            );
            let first = journal
                .append(RunTime::START, event())
                .map(|_| ())
                .and_then(|()| journal.sync());
            assert!(first.unwrap_err().to_string().contains("journal.txt"));
            assert!(journal.append(RunTime::START, event()).is_err());
            assert!(journal.sync().unwrap_err().to_string().contains("earlier"));
        }
    }

    #[test]
    fn lines_wait_until_they_are_many_or_somebody_syncs() {
        let mut journal = JournalWriter::new(Vec::new(), "journal.txt");
        let written = |journal: &JournalWriter<Vec<u8>>| journal.sink.as_ref().map_or(0, Vec::len);
        journal.append(RunTime::START, event()).unwrap();
        assert_eq!(written(&journal), 0);
        while written(&journal) == 0 {
            assert!(journal.waiting.len() < TOGETHER);
            journal.append(RunTime::START, event()).unwrap();
        }
        assert!(written(&journal) >= TOGETHER);
        let before = written(&journal);
        journal.append(RunTime::START, event()).unwrap();
        journal.sync().unwrap();
        assert!(written(&journal) > before);
    }

    #[test]
    fn a_write_that_failed_while_nobody_asked_is_told_to_the_next_who_asks() {
        let disk = Disk {
            operations: 0,
            fails_at: 1,
        };
        let mut journal = JournalWriter::new(disk, "journal.txt");
        journal.append(RunTime::START, event()).unwrap();
        journal.write_untold();
        let told = journal.append(RunTime::START, event()).unwrap_err().to_string();
        assert!(told.contains("writing failed"), "{told}");
        let later = journal.sync().unwrap_err().to_string();
        assert!(later.contains("earlier"), "{later}");
    }
}
