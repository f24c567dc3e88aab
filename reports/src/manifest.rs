//! What lies in a folder of reports, and the record that it was made from.

use serde::Serialize;

/// `manifest.json` beside the reports.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Manifest {
    /// Short name of the run.
    pub run: String,
    /// Hash of the last line of the record's journal: ties the reports to the record.
    pub head: String,
    /// Said on a rehearsal.
    pub virtual_note: Option<String>,
    /// The reports.
    pub reports: Vec<Entry>,
}

/// One report.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Entry {
    /// File name.
    pub file: String,
    /// SHA-256 of its bytes, lower-case hexadecimal.
    pub sha256: String,
    /// Its length in bytes.
    pub bytes: u64,
}
