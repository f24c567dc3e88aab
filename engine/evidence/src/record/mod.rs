//! The record: a folder with the journal, the inputs, the captured samples, and the seal.
//!
//! ```text
//! RUN/
//!   journal.txt     one event a line, chained by SHA-256
//!   inputs/         the files that went into the run, byte for byte
//!   captures/       samples: little-endian i16, one channel after the other
//!   seal.json       written last: number of lines, last hash, SHA-256 of every file
//!   reports/        not sealed: made from the record, with a manifest of its own
//! ```
//!
//! # A line of the journal
//!
//! ```text
//! HASH SPACE JSON LF
//! ```
//!
//! HASH is the SHA-256, in 64 lower-case hexadecimal digits, of the previous line's HASH, a space, and this line's JSON,
//! byte for byte. Before the first line stand 64 zeros. So nobody needs this program to check a journal:
//!
//! ```sh
//! prev=0000000000000000000000000000000000000000000000000000000000000000; n=0
//! while IFS= read -r line; do
//!   n=$((n + 1)); hash=${line%% *}; json=${line#* }
//!   got=$(printf '%s %s' "$prev" "$json" | sha256sum | cut -c1-64)
//!   [ "$got" = "$hash" ] || { echo "line $n was altered"; exit 1; }
//!   prev=$hash
//! done < journal.txt
//! echo "$n lines hold, last hash $prev"
//! ```
//!
//! and `cut -d' ' -f2- journal.txt` gives plain JSON lines for any other tool.
//!
//! # What the seal shows, and what it does not
//!
//! Any changed, removed or added byte or file of a sealed record is found, with its line or file. A journal without a seal
//! shows where it was altered, except that lines taken off its end look like a run that was cut short. Somebody who may
//! write the whole folder can seal it anew: the last hash, printed on every report, is what ties a report to its record.
//! A virtual or cached disk's sync proves the order of writes, not that they survive a power loss.
//!
//! | module | holds |
//! | --- | --- |
//! | [`chain`] | hashes and lines |
//! | [`journal`] | the live journal |
//! | `disk` | files and folders on their way to the disk |
//! | [`writer`] | the folder of a run while it is written |
//! | [`seal`] | the seal and the list of files |
//! | [`reader`] | a folder read back |
//! | [`verify`] | what is wrong with a record |
//! | [`captures`] | samples as bytes |

pub mod captures;
pub mod chain;
mod disk;
pub mod journal;
pub mod reader;
pub mod seal;
pub mod verify;
pub mod writer;

pub use captures::Samples;
pub use journal::{JournalWriter, Sink, WriteError};
pub use reader::{Record, RecordError};
pub use seal::Seal;
pub use verify::{Finding, FindingKind};
pub use writer::RecordWriter;

/// File name of the journal.
pub const JOURNAL: &str = "journal.txt";
/// Folder of the inputs.
pub const INPUTS: &str = "inputs";
/// Folder of the captured samples.
pub const CAPTURES: &str = "captures";
/// File name of the seal.
pub const SEAL: &str = "seal.json";
/// Folder of the reports, which the seal leaves out.
pub const REPORTS: &str = "reports";
