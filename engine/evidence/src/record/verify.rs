//! What is wrong with a record: every changed, removed or added byte or file of its sealed part, with file and line.

use super::chain::sha256;
use super::reader::Record;
use super::seal::{PART, Seal, entries};
use super::{CAPTURES, INPUTS, JOURNAL, REPORTS, SEAL};
use crate::event::Event;
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt;
use std::fs;
use std::path::Path;

/// One thing that is wrong with a record.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// The file within the record's folder.
    pub file: String,
    /// Line of the journal, from 1 (its event's sequence number plus 1).
    pub line: Option<u64>,
    /// What kind of thing.
    pub kind: FindingKind,
    /// In words.
    pub what: String,
}

/// What kind of thing is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum FindingKind {
    /// Bytes differ.
    Altered,
    /// Something is not there.
    Missing,
    /// Something is there that does not belong.
    Added,
    /// The last line has no end: the run was cut off while writing it.
    Torn,
    /// Samples that had not reached the disk when the run was cut off: they are synced with the next intent or the seal.
    CutOff,
    /// There is no seal: the run has not ended, or was cut off.
    Unsealed,
    /// The system would not let it be read.
    Unreadable,
}

impl Finding {
    pub(super) fn new(file: &str, line: Option<u64>, kind: FindingKind, what: impl Into<String>) -> Self {
        Self {
            file: file.to_owned(),
            line,
            kind,
            what: what.into(),
        }
    }

    /// Whether somebody changed the record, as opposed to a run that was cut off.
    pub fn is_alteration(&self) -> bool {
        !matches!(
            self.kind,
            FindingKind::Torn | FindingKind::CutOff | FindingKind::Unsealed
        )
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "{}, line {line}: {}", self.file, self.what),
            None => write!(f, "{}: {}", self.file, self.what),
        }
    }
}

/// All that is wrong, the journal's own flaws first.
pub(super) fn verify(record: &Record) -> Vec<Finding> {
    let mut findings = record.flaws().to_vec();
    let on_disk = match files_on_disk(record, &mut findings) {
        Ok(files) => files,
        Err(finding) => {
            findings.push(finding);
            return findings;
        }
    };
    match record.seal() {
        Some(seal) => against_seal(record, seal, &on_disk, &mut findings),
        None if findings.iter().all(|finding| finding.file != SEAL) => findings.push(unsealed(record)),
        None => {}
    }
    against_events(record, &on_disk, &mut findings);
    findings
}

fn unsealed(record: &Record) -> Finding {
    let ended = matches!(record.events().last(), Some(stamped) if matches!(stamped.event, Event::RunEnded { .. }));
    let what = if ended {
        "not there, although the journal has its last event: it was removed, or the run died while sealing"
    } else {
        "not there: the run has not ended, or was cut off; lines missing at its end cannot be noticed"
    };
    Finding::new(SEAL, None, FindingKind::Unsealed, what)
}

/// SHA-256 of every file that should be sealed; names what does not belong into the folder.
fn files_on_disk(record: &Record, findings: &mut Vec<Finding>) -> Result<BTreeMap<String, String>, Finding> {
    let list = |part: &Path| {
        entries(part).map_err(|(path, error)| {
            Finding::new(
                &path.display().to_string(),
                None,
                FindingKind::Unreadable,
                error.to_string(),
            )
        })
    };
    let folder = record.folder();
    let mut names = Vec::new();
    for (name, plain) in list(folder)? {
        match (name.as_str(), plain) {
            (JOURNAL, true) => names.push(name),
            (SEAL, true) | (INPUTS | CAPTURES | REPORTS, false) => {}
            (PART, true) if record.seal().is_none() => {
                let what = "a seal that was being written when the run died";
                findings.push(Finding::new(&name, None, FindingKind::Unsealed, what));
            }
            _ => findings.push(stranger(&name)),
        }
    }
    for part in [INPUTS, CAPTURES] {
        for (name, plain) in list(&folder.join(part))? {
            let name = format!("{part}/{name}");
            if plain {
                names.push(name);
            } else {
                findings.push(stranger(&name));
            }
        }
    }
    Ok(names
        .into_iter()
        .filter_map(|name| hashed(folder, name, findings))
        .collect())
}

fn stranger(name: &str) -> Finding {
    Finding::new(name, None, FindingKind::Added, "does not belong into a record")
}

fn hashed(folder: &Path, name: String, findings: &mut Vec<Finding>) -> Option<(String, String)> {
    match fs::read(folder.join(&name)) {
        Ok(bytes) => Some((name, sha256(&bytes))),
        Err(error) => {
            findings.push(Finding::new(&name, None, FindingKind::Unreadable, error.to_string()));
            None
        }
    }
}

fn against_seal(record: &Record, seal: &Seal, on_disk: &BTreeMap<String, String>, findings: &mut Vec<Finding>) {
    let mut say = |file: &str, kind, what: String| findings.push(Finding::new(file, None, kind, what));
    for (name, hash) in &seal.files {
        match on_disk.get(name) {
            None => say(name, FindingKind::Missing, "is sealed, and is not there".to_owned()),
            Some(found) if found != hash => say(name, FindingKind::Altered, "is not what was sealed".to_owned()),
            Some(_) => {}
        }
    }
    for name in on_disk.keys().filter(|name| !seal.files.contains_key(*name)) {
        say(name, FindingKind::Added, "was not sealed".to_owned());
    }
    let lines = record.events().len() as u64;
    if seal.lines != lines {
        say(
            JOURNAL,
            FindingKind::Altered,
            format!("{} lines are sealed, {lines} hold", seal.lines),
        );
    }
    if seal.head != record.head() {
        say(
            SEAL,
            FindingKind::Altered,
            "its last hash is not that of the journal".to_owned(),
        );
    }
    if !matches!(
        record.events().last().map(|stamped| &stamped.event),
        Some(Event::RunEnded { .. })
    ) {
        say(
            JOURNAL,
            FindingKind::Altered,
            "is sealed without the event that ends a run".to_owned(),
        );
    }
}

/// Files that the events speak about.
fn against_events(record: &Record, on_disk: &BTreeMap<String, String>, findings: &mut Vec<Finding>) {
    let inputs = |hash: &String| {
        on_disk
            .iter()
            .any(|(name, found)| name.starts_with(INPUTS) && found == hash)
    };
    for input in record.heading().inputs.iter().filter(|input| !inputs(&input.sha256)) {
        let what = format!(
            "no file has the hash that the heading gives for {} {}",
            input.role, input.name
        );
        findings.push(Finding::new(INPUTS, Some(1), FindingKind::Missing, what));
    }
    let synced = synced_upto(record);
    for stamped in record.events() {
        let Event::Captured(capture) = &stamped.event else {
            continue;
        };
        let name = format!("{CAPTURES}/{}", capture.file);
        let (kind, what) = match on_disk.get(&name) {
            Some(found) if *found == capture.sha256 => continue,
            _ if stamped.seq > synced => (
                FindingKind::CutOff,
                "the run was cut off before these samples were on disk",
            ),
            Some(_) => (FindingKind::Altered, "its hash is not that of the journal"),
            None => (FindingKind::Missing, "the journal speaks of it, and it is not there"),
        };
        findings.push(Finding::new(&name, Some(stamped.seq + 1), kind, what));
    }
}

/// Sequence number up to which samples were on disk for certain: all of them in a sealed record, else those before the last
/// intent, which was synced with them.
fn synced_upto(record: &Record) -> u64 {
    if record.seal().is_some() {
        return u64::MAX;
    }
    let intents = record
        .events()
        .iter()
        .filter(|stamped| matches!(stamped.event, Event::Intent { .. }));
    intents.map(|stamped| stamped.seq).max().unwrap_or(0)
}
