//! The folder of a run while it is written: inputs, captures and the live journal, the seal last.

use super::disk::{Unsynced, sync_folder};
use super::journal::{JournalWriter, WriteError};
use super::seal::{self, Seal};
use super::{CAPTURES, INPUTS, JOURNAL, captures, chain};
use crate::event::{Event, Stamped};
use crate::heading::{InputFile, JOURNAL_FORM};
use pilotage_core::RunTime;
use std::collections::BTreeMap;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::Duration;

/// Longest time that a line of a journal waits in memory.
const LONGEST_WAIT: Duration = Duration::from_millis(50);

/// Writes a record's folder: inputs first, then the journal as the run goes, the seal last.
///
/// A line is written within 50 ms. Inputs and captures are brought to disk by the next [`RecordWriter::sync`], together with
/// the journal that speaks of them: every energising act waits for one such sync, and so does the seal.
#[derive(Debug)]
pub struct RecordWriter {
    folder: PathBuf,
    journal: Arc<Mutex<JournalWriter<File>>>,
    ticker: Ticker,
    unsynced: Unsynced,
    /// SHA-256 of each input and capture by its path within the folder.
    hashes: BTreeMap<String, String>,
    inputs: u32,
    captures: u32,
}

impl RecordWriter {
    /// Makes the folder, which must not hold a journal yet.
    pub fn create(folder: &Path) -> Result<Self, WriteError> {
        for part in [INPUTS, CAPTURES] {
            let path = folder.join(part);
            fs::create_dir_all(&path).map_err(|error| WriteError::io(&path, "making the folder", error))?;
        }
        let path = folder.join(JOURNAL);
        let file = new_file(&path)?;
        let mut unsynced = Unsynced::default();
        unsynced.folder(folder);
        let journal = Arc::new(Mutex::new(JournalWriter::new(file, path)));
        Ok(Self {
            folder: folder.to_owned(),
            ticker: Ticker::start(Arc::clone(&journal)),
            journal,
            unsynced,
            hashes: BTreeMap::new(),
            inputs: 0,
            captures: 0,
        })
    }

    /// Keeps a file that goes into the run, byte for byte, and gives its entry for the heading. It is on disk after the next
    /// [`RecordWriter::sync`].
    pub fn input(&mut self, role: &str, name: &str, bytes: &[u8]) -> Result<InputFile, WriteError> {
        let file = format!("{:02}-{}-{}", self.inputs, slug(role), slug(name));
        self.inputs += 1;
        Ok(InputFile {
            role: role.to_owned(),
            name: name.to_owned(),
            sha256: self.keep(INPUTS, &file, bytes)?,
        })
    }

    /// Appends an event and gives it back with its sequence number.
    pub fn append(&mut self, at: RunTime, event: Event) -> Result<Stamped, WriteError> {
        locked(&self.journal).append(at, event)
    }

    /// Returns when all that was kept, stored and appended is on disk.
    pub fn sync(&mut self) -> Result<(), WriteError> {
        let mut journal = locked(&self.journal);
        let synced = self.unsynced.settle_beside(|| journal.sync());
        if synced.is_err() {
            journal.end();
        }
        synced
    }

    /// Stores a capture's samples and gives file name and SHA-256 for the `Captured` event. They are on disk after the next
    /// [`RecordWriter::sync`].
    pub fn store(&mut self, name: &str, channels: &[Vec<i16>]) -> Result<(String, String), WriteError> {
        let file = format!("{:04}-{}.i16", self.captures, slug(name));
        self.captures += 1;
        let sha256 = self.keep(CAPTURES, &file, &captures::encode(channels))?;
        Ok((file, sha256))
    }

    /// Hash of the last line.
    pub fn head(&self) -> String {
        locked(&self.journal).head().to_owned()
    }

    /// Number of lines.
    pub fn lines(&self) -> u64 {
        locked(&self.journal).lines()
    }

    /// The folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Seals the record: nothing is written into its sealed part afterwards.
    pub fn seal(mut self) -> Result<Seal, WriteError> {
        self.sync()?;
        self.ticker.stop();
        let path = self.folder.join(JOURNAL);
        let journal = fs::read(&path).map_err(|error| WriteError::io(&path, "reading", error))?;
        self.hashes.insert(JOURNAL.to_owned(), chain::sha256(&journal));
        let seal = Seal {
            form: JOURNAL_FORM,
            lines: self.lines(),
            head: self.head(),
            files: self.hashes,
        };
        // Written beside and renamed, so that a seal is whole or not there.
        let path = self.folder.join(super::SEAL);
        let part = self.folder.join(seal::PART);
        let mut file = new_file(&part)?;
        let written = file.write_all(seal.text().as_bytes()).and_then(|()| file.sync_all());
        written
            .and_then(|()| fs::rename(&part, &path))
            .map_err(|error| WriteError::io(&path, "writing", error))?;
        sync_folder(&self.folder)?;
        Ok(seal)
    }

    /// Writes a file and gives its SHA-256.
    fn keep(&mut self, part: &str, file: &str, bytes: &[u8]) -> Result<String, WriteError> {
        let folder = self.folder.join(part);
        let path = folder.join(file);
        let mut out = new_file(&path)?;
        out.write_all(bytes)
            .map_err(|error| WriteError::io(&path, "writing", error))?;
        self.unsynced.folder(&folder);
        self.unsynced.file(path, out);
        let sha256 = chain::sha256(bytes);
        self.hashes.insert(format!("{part}/{file}"), sha256.clone());
        Ok(sha256)
    }
}

fn locked(journal: &Mutex<JournalWriter<File>>) -> MutexGuard<'_, JournalWriter<File>> {
    journal.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Writes what waits in a journal, again and again.
#[derive(Debug)]
struct Ticker {
    over: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Ticker {
    fn start(journal: Arc<Mutex<JournalWriter<File>>>) -> Self {
        let over = Arc::new(AtomicBool::new(false));
        let seen = Arc::clone(&over);
        let tick = move || {
            while !seen.load(Ordering::Relaxed) {
                thread::park_timeout(LONGEST_WAIT);
                locked(&journal).write_untold();
            }
        };
        Self {
            over,
            thread: Some(thread::spawn(tick)),
        }
    }

    fn stop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            thread.thread().unpark();
            // It ends by itself; a panic in it would have poisoned the lock, which is looked through.
            let _ended = thread.join();
        }
    }
}

impl Drop for Ticker {
    fn drop(&mut self) {
        self.stop();
    }
}

fn new_file(path: &Path) -> Result<File, WriteError> {
    OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(path)
        .map_err(|error| match error.kind() {
            io::ErrorKind::AlreadyExists => WriteError {
                source: Some(error),
                ..WriteError::said(
                    path,
                    "exists already, and a record is never rewritten",
                    "choose a new folder for the run",
                )
            },
            _ => WriteError::io(path, "making the file", error),
        })
}

/// A text as part of a file name: what a file or a person typed never becomes a path.
fn slug(text: &str) -> String {
    let last = text.rsplit(['/', '\\', ':']).next().unwrap_or_default();
    let plain = |c: char| {
        if c.is_ascii_alphanumeric() || "._-".contains(c) {
            c
        } else {
            '_'
        }
    };
    let short: String = last.chars().map(plain).take(60).collect();
    if short.is_empty() { "x".to_owned() } else { short }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::{LONGEST_WAIT, RecordWriter, slug};
    use crate::event::Event;
    use crate::record::JOURNAL;
    use pilotage_core::RunTime;
    use std::fs;
    use std::io;
    use std::time::Instant;

    fn event() -> Event {
        Event::StepStarted { step: 0 }
    }

    #[test]
    fn a_line_does_not_wait_for_the_next_one() {
        let folder = tempfile::tempdir().unwrap();
        let mut record = RecordWriter::create(folder.path()).unwrap();
        record.append(RunTime::START, event()).unwrap();
        let began = Instant::now();
        while fs::read(folder.path().join(JOURNAL)).unwrap().is_empty() {
            assert!(began.elapsed() < 100 * LONGEST_WAIT, "the line was never written");
            std::thread::yield_now();
        }
    }

    #[test]
    fn a_record_is_never_rewritten() {
        let folder = tempfile::tempdir().unwrap();
        RecordWriter::create(folder.path()).unwrap();
        let again = RecordWriter::create(folder.path()).unwrap_err().to_string();
        assert!(
            again.contains("never rewritten") && again.contains("new folder"),
            "{again}"
        );
    }

    /// A pipe cannot be synced, as a disk that went away cannot.
    #[cfg(unix)]
    #[test]
    fn a_capture_that_did_not_reach_the_disk_is_fatal_for_good() {
        let folder = tempfile::tempdir().unwrap();
        let mut record = RecordWriter::create(folder.path()).unwrap();
        record.store("whole", &[vec![1, 2]]).unwrap();
        let (_reader, writer) = io::pipe().unwrap();
        let lost = std::fs::File::from(std::os::fd::OwnedFd::from(writer));
        record.unsynced.file("lost.i16".into(), lost);
        record.store("after", &[vec![3]]).unwrap();
        assert!(record.sync().unwrap_err().to_string().contains("lost.i16"));
        assert!(record.append(RunTime::START, event()).is_err());
        assert!(record.sync().unwrap_err().to_string().contains("earlier"));
        assert!(record.seal().is_err());
    }

    #[test]
    fn what_was_typed_never_becomes_a_path() {
        assert_eq!(slug("../../etc/pass wd"), "pass_wd");
        assert_eq!(slug("shipped:wall_unit_32a"), "wall_unit_32a");
        assert_eq!(slug("c:\\x\\.."), "..");
        assert_eq!(slug(""), "x");
        assert_eq!(slug("\u{1b}[31m\n"), "__31m_");
    }
}
