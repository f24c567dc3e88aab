//! Files and folders on their way to the disk.

use super::journal::WriteError;
use std::collections::{BTreeSet, VecDeque};
use std::fs::File;
use std::path::{Path, PathBuf};
use std::thread::{self, JoinHandle};

/// So many files are on their way at a time.
const AT_A_TIME: usize = 16;

/// Files that are being synced, each by a thread of its own from the moment it was written: until the journal has to be on
/// disk, most of them are. A file system brings what is asked for at the same time to disk together; one after the other each
/// would wait for its own turn.
#[derive(Debug, Default)]
pub(super) struct Unsynced {
    files: VecDeque<JoinHandle<Result<(), WriteError>>>,
    folders: BTreeSet<PathBuf>,
    failed: Option<WriteError>,
}

impl Unsynced {
    /// A file that was just written, in a folder that does not know it for good yet.
    pub(super) fn file(&mut self, path: PathBuf, file: File) {
        if self.files.len() >= AT_A_TIME
            && let Some(oldest) = self.files.pop_front()
        {
            self.failed = self.failed.take().or(joined(oldest).err());
        }
        let sync = move || file.sync_all().map_err(|error| WriteError::io(&path, "syncing", error));
        self.files.push_back(thread::spawn(sync));
    }

    /// A folder in which something was made.
    pub(super) fn folder(&mut self, folder: &Path) {
        if !self.folders.contains(folder) {
            self.folders.insert(folder.to_owned());
        }
    }

    /// Returns when all is on disk and `own`, which is done meanwhile, is done.
    pub(super) fn settle_beside(&mut self, own: impl FnOnce() -> Result<(), WriteError>) -> Result<(), WriteError> {
        let folders = std::mem::take(&mut self.folders);
        let syncs = folders
            .into_iter()
            .map(|folder| thread::spawn(move || sync_folder(&folder)));
        self.files.extend(syncs);
        let own = own();
        let rest = self.files.drain(..).map(joined).fold(Ok(()), Result::and);
        self.failed.take().map_or(own, Err).and(rest)
    }
}

fn joined(sync: JoinHandle<Result<(), WriteError>>) -> Result<(), WriteError> {
    sync.join().expect("syncing a file does not panic")
}

/// A new name in a folder survives a power loss only when the folder itself is synced (POSIX).
#[cfg(unix)]
pub(super) fn sync_folder(folder: &Path) -> Result<(), WriteError> {
    let synced = File::open(folder).and_then(|handle| handle.sync_all());
    synced.map_err(|error| WriteError::io(folder, "syncing the folder", error))
}

/// Other systems keep names with their files.
#[cfg(not(unix))]
#[expect(clippy::unnecessary_wraps, reason = "the same signature on every platform")]
pub(super) fn sync_folder(_folder: &Path) -> Result<(), WriteError> {
    Ok(())
}
