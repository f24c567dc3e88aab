//! The live journal, and the folder around it. A write or a sync that failed once is fatal: it is never tried again as if
//! nothing had happened, because what a disk reported once it may not report twice.

use super::chain::{self, START};
use super::seal::{self, Seal};
use super::{CAPTURES, INPUTS, JOURNAL, captures};
use crate::event::{Event, Stamped};
use crate::heading::{InputFile, JOURNAL_FORM};
use pilotage_core::RunTime;
use std::collections::BTreeSet;
use std::fs::{self, File, OpenOptions};
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
    fn io(file: &Path, doing: &str, source: io::Error) -> Self {
        Self {
            file: file.display().to_string(),
            what: format!("{doing} failed: {source}"),
            mend: "check that the disk has room and may be written, then run again into a new folder".to_owned(),
            source: Some(source),
        }
    }

    fn said(file: &Path, what: &str, mend: &str) -> Self {
        Self {
            file: file.display().to_string(),
            what: what.to_owned(),
            mend: mend.to_owned(),
            source: None,
        }
    }
}

/// Appends events to a journal.
#[derive(Debug)]
pub struct JournalWriter<S> {
    sink: S,
    name: PathBuf,
    head: String,
    lines: u64,
    broken: bool,
    /// The line in hand; its room is used again.
    line: Vec<u8>,
}

impl<S: Sink> JournalWriter<S> {
    /// Writes to `sink`; `name` is only for messages.
    pub fn new(sink: S, name: impl Into<PathBuf>) -> Self {
        Self {
            sink,
            name: name.into(),
            head: START.to_owned(),
            lines: 0,
            broken: false,
            line: Vec::new(),
        }
    }

    /// Appends an event and gives its sequence number. It is on disk after the next [`JournalWriter::sync`].
    pub fn append(&mut self, at: RunTime, event: Event) -> Result<u64, WriteError> {
        let stamped = Stamped {
            seq: self.lines,
            at,
            event,
        };
        let mut line = std::mem::take(&mut self.line);
        let head = chain::line(&self.head, &stamped, &mut line).map_err(|error| {
            WriteError::said(
                &self.name,
                &format!("an event has no JSON form: {error}"),
                "report this",
            )
        })?;
        self.guarded("writing", |sink| sink.write_all(&line))?;
        self.line = line;
        self.head = head;
        self.lines += 1;
        Ok(stamped.seq)
    }

    /// Returns when all that was appended is on disk.
    pub fn sync(&mut self) -> Result<(), WriteError> {
        self.guarded("syncing", |sink| sink.flush().and_then(|()| sink.sync()))
    }

    /// Hash of the last line.
    pub fn head(&self) -> &str {
        &self.head
    }

    /// Number of lines.
    pub fn lines(&self) -> u64 {
        self.lines
    }

    /// The sink, e.g. the bytes of a journal in memory.
    pub fn into_sink(self) -> S {
        self.sink
    }

    fn guarded(&mut self, doing: &str, work: impl FnOnce(&mut S) -> io::Result<()>) -> Result<(), WriteError> {
        if self.broken {
            let mend = "the run must end here; nothing more is written into this folder";
            return Err(WriteError::said(&self.name, "an earlier write or sync failed", mend));
        }
        work(&mut self.sink).map_err(|error| {
            self.broken = true;
            WriteError::io(&self.name, doing, error)
        })
    }
}

/// Writes a record's folder: inputs first, then the journal as the run goes, the seal last.
///
/// Inputs and captures are brought to disk by the next [`RecordWriter::sync`], together with the journal that speaks of them:
/// every energising act waits for one such sync, and so does the seal.
#[derive(Debug)]
pub struct RecordWriter {
    folder: PathBuf,
    journal: JournalWriter<File>,
    unsynced: Unsynced,
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
        unsynced.folders.insert(folder.to_owned());
        Ok(Self {
            folder: folder.to_owned(),
            journal: JournalWriter::new(file, path),
            unsynced,
            inputs: 0,
            captures: 0,
        })
    }

    /// Keeps a file that goes into the run, byte for byte, and gives its entry for the heading. It is on disk after the next
    /// [`RecordWriter::sync`].
    pub fn input(&mut self, role: &str, name: &str, bytes: &[u8]) -> Result<InputFile, WriteError> {
        let file = format!("{:02}-{}-{}", self.inputs, slug(role), slug(name));
        self.inputs += 1;
        self.keep(INPUTS, &file, bytes)?;
        Ok(InputFile {
            role: role.to_owned(),
            name: name.to_owned(),
            sha256: chain::sha256(bytes),
        })
    }

    /// Appends an event and gives its sequence number.
    pub fn append(&mut self, at: RunTime, event: Event) -> Result<u64, WriteError> {
        self.journal.append(at, event)
    }

    /// Returns when all that was kept, stored and appended is on disk.
    pub fn sync(&mut self) -> Result<(), WriteError> {
        let journal = &mut self.journal;
        let synced = self.unsynced.settle_beside(|| journal.sync());
        self.journal.broken |= synced.is_err();
        synced
    }

    /// Stores a capture's samples and gives file name and SHA-256 for the `Captured` event. They are on disk after the next
    /// [`RecordWriter::sync`].
    pub fn store(&mut self, name: &str, channels: &[Vec<i16>]) -> Result<(String, String), WriteError> {
        let file = format!("{:04}-{}.i16", self.captures, slug(name));
        self.captures += 1;
        let bytes = captures::encode(channels);
        self.keep(CAPTURES, &file, &bytes)?;
        Ok((file, chain::sha256(&bytes)))
    }

    /// Hash of the last line.
    pub fn head(&self) -> &str {
        self.journal.head()
    }

    /// Number of lines.
    pub fn lines(&self) -> u64 {
        self.journal.lines()
    }

    /// The folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Seals the record: nothing is written into its sealed part afterwards.
    pub fn seal(mut self) -> Result<Seal, WriteError> {
        self.sync()?;
        let path = self.folder.join(super::SEAL);
        let seal = Seal {
            form: JOURNAL_FORM,
            lines: self.journal.lines,
            head: self.journal.head.clone(),
            files: seal::hash_files(&self.folder).map_err(|(file, error)| WriteError::io(&file, "reading", error))?,
        };
        // Written beside and renamed, so that a seal is whole or not there.
        let part = self.folder.join(seal::PART);
        let mut file = new_file(&part)?;
        let written = file.write_all(seal.text().as_bytes()).and_then(|()| file.sync_all());
        written
            .and_then(|()| fs::rename(&part, &path))
            .map_err(|error| WriteError::io(&path, "writing", error))?;
        sync_folder(&self.folder)?;
        Ok(seal)
    }

    fn keep(&mut self, folder: &str, file: &str, bytes: &[u8]) -> Result<(), WriteError> {
        let folder = self.folder.join(folder);
        let path = folder.join(file);
        let mut out = new_file(&path)?;
        out.write_all(bytes)
            .map_err(|error| WriteError::io(&path, "writing", error))?;
        self.unsynced.files.push((path, out));
        self.unsynced.folders.insert(folder);
        Ok(())
    }
}

/// Files and folders that were written and may not be on disk yet.
#[derive(Debug, Default)]
struct Unsynced {
    files: Vec<(PathBuf, File)>,
    folders: BTreeSet<PathBuf>,
}

/// So many files are synced at a time.
const AT_A_TIME: usize = 16;

impl Unsynced {
    /// Returns when all is on disk and `last` is done. A file system brings what is asked for at the same time to disk
    /// together; one after the other each would wait for its own turn.
    fn settle_beside(&mut self, last: impl FnOnce() -> Result<(), WriteError>) -> Result<(), WriteError> {
        let files = std::mem::take(&mut self.files);
        let folders = std::mem::take(&mut self.folders);
        let (before, beside) = files.split_at(files.len().saturating_sub(AT_A_TIME));
        for some in before.chunks(AT_A_TIME) {
            together(some, &BTreeSet::new(), || Ok(()))?;
        }
        together(beside, &folders, last)
    }
}

/// Syncs each on a thread of its own while `own` is done on this one.
fn together(
    files: &[(PathBuf, File)],
    folders: &BTreeSet<PathBuf>,
    own: impl FnOnce() -> Result<(), WriteError>,
) -> Result<(), WriteError> {
    let sync = |(path, file): &(PathBuf, File)| file.sync_all().map_err(|error| WriteError::io(path, "syncing", error));
    std::thread::scope(|scope| {
        let files = files.iter().map(|file| scope.spawn(move || sync(file)));
        let mut started: Vec<_> = files.collect();
        started.extend(folders.iter().map(|folder| scope.spawn(|| sync_folder(folder))));
        let own = own();
        let all = started
            .into_iter()
            .map(|one| one.join().expect("syncing a file does not panic"));
        all.fold(own, Result::and)
    })
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

/// A new name in a folder survives a power loss only when the folder itself is synced (POSIX).
#[cfg(unix)]
fn sync_folder(folder: &Path) -> Result<(), WriteError> {
    let synced = File::open(folder).and_then(|handle| handle.sync_all());
    synced.map_err(|error| WriteError::io(folder, "syncing the folder", error))
}

/// Other systems keep names with their files.
#[cfg(not(unix))]
#[expect(clippy::unnecessary_wraps, reason = "the same signature on every platform")]
fn sync_folder(_folder: &Path) -> Result<(), WriteError> {
    Ok(())
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

    use super::{JournalWriter, RecordWriter, Sink, slug};
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
        record.unsynced.files.push(("lost.i16".into(), lost));
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
