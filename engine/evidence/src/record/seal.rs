//! The seal: number of lines, last hash, and the SHA-256 of every file, written last.

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// A seal that was being written when the run died is found under this name.
pub const PART: &str = "seal.part";

/// What `seal.json` holds. Its text is fixed to the byte: keys in this order, two spaces, one line feed at the end.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Seal {
    /// Form of the journal.
    pub form: u32,
    /// Number of lines of the journal.
    pub lines: u64,
    /// Hash of its last line.
    pub head: String,
    /// SHA-256 of each file by its path within the folder: the journal, the inputs, the captures.
    pub files: BTreeMap<String, String>,
}

impl Seal {
    /// The text of `seal.json`.
    pub fn text(&self) -> String {
        let mut text = serde_json::to_string_pretty(self).expect("numbers and texts always have a JSON form");
        text.push('\n');
        text
    }

    /// Reads a seal; says what is wrong where one byte differs from what would be written.
    pub fn read(bytes: &[u8]) -> Result<Self, String> {
        let seal: Self = serde_json::from_slice(bytes).map_err(|error| format!("not a seal: {error}"))?;
        if seal.text().as_bytes() == bytes {
            Ok(seal)
        } else {
            Err("not written as a seal is written: it was altered".to_owned())
        }
    }
}

/// Names in a folder with whether each is a plain file, sorted; none where the folder is not there.
pub(super) fn entries(folder: &Path) -> Result<BTreeMap<String, bool>, (PathBuf, io::Error)> {
    let fail = |error: io::Error| (folder.to_owned(), error);
    let listing = match fs::read_dir(folder) {
        Ok(listing) => listing,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(BTreeMap::new()),
        Err(error) => return Err(fail(error)),
    };
    let mut names = BTreeMap::new();
    for entry in listing {
        let entry = entry.map_err(fail)?;
        let plain = entry.file_type().map_err(fail)?.is_file();
        names.insert(entry.file_name().to_string_lossy().into_owned(), plain);
    }
    Ok(names)
}
