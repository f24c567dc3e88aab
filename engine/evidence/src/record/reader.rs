//! A folder read back: as many events as hold, and what is wrong with the rest.

use super::chain::{self, START};
use super::seal::Seal;
use super::verify::{self, Finding, FindingKind};
use super::{CAPTURES, INPUTS, JOURNAL, SEAL, Samples, captures};
use crate::event::{Capture, Event, Stamped};
use crate::heading::{Heading, InputFile, JOURNAL_FORM};
use serde::Deserialize;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// A record that cannot be opened at all.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// The journal cannot be read.
    #[error("{file}: cannot be read: {source}; give the folder of a run, with its {JOURNAL}")]
    Unreadable {
        /// The file.
        file: String,
        /// What the system said.
        #[source]
        source: io::Error,
    },
    /// The journal is of a form that this program does not know.
    #[error(
        "{file}: line 1: written in form {found} of the journal, this program reads forms 1 to {known}; open it with a newer program"
    )]
    NewerForm {
        /// The file.
        file: String,
        /// The form of the journal.
        found: u64,
        /// The newest form that this program knows.
        known: u32,
    },
    /// The first line is not a heading that holds.
    #[error("{file}: line 1: {what}; without its heading a record cannot be read")]
    NoHeading {
        /// The file.
        file: String,
        /// What is wrong.
        what: String,
    },
    /// A file of the record is not what the journal says.
    #[error("{file}: {what}; `verify` lists all that is wrong with this record")]
    Part {
        /// The file.
        file: String,
        /// What is wrong.
        what: String,
    },
}

/// A record that was opened.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    folder: PathBuf,
    heading: Heading,
    events: Vec<Stamped>,
    head: String,
    seal: Option<Seal>,
    flaws: Vec<Finding>,
}

impl Record {
    /// Opens a record's folder. A torn or altered journal yields the events before its first flaw; [`Record::verify`]
    /// says what is wrong.
    pub fn open(folder: &Path) -> Result<Self, RecordError> {
        let path = folder.join(JOURNAL);
        let bytes = fs::read(&path).map_err(|source| RecordError::Unreadable {
            file: path.display().to_string(),
            source,
        })?;
        let (seal, seal_flaw) = read_seal(folder);
        let mut record = Self::from_bytes(&bytes, &path.display().to_string())?;
        folder.clone_into(&mut record.folder);
        record.seal = seal;
        record.flaws.extend(seal_flaw);
        Ok(record)
    }

    /// Reads a journal from memory; `file` is for messages. Captures and inputs cannot be read from it.
    pub fn from_bytes(bytes: &[u8], file: &str) -> Result<Self, RecordError> {
        refuse_newer_form(bytes, file)?;
        let Journal { events, head, flaws } = read_journal(bytes);
        let no_heading = |what: &str| RecordError::NoHeading {
            file: file.to_owned(),
            what: what.to_owned(),
        };
        let Some(Event::RunStarted(heading)) = events.first().map(|stamped| &stamped.event) else {
            return Err(no_heading(
                flaws.first().map_or("it is empty", |flaw| flaw.what.as_str()),
            ));
        };
        // The next form is read beside this one: a record of ten years ago opens by its number.
        if heading.form != JOURNAL_FORM {
            return Err(no_heading(&format!("there is no form {} of the journal", heading.form)));
        }
        Ok(Self {
            folder: PathBuf::new(),
            heading: (**heading).clone(),
            events,
            head,
            seal: None,
            flaws,
        })
    }

    /// All that is wrong with the record; nothing where it is sealed and whole.
    pub fn verify(&self) -> Vec<Finding> {
        verify::verify(self)
    }

    /// The folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The heading.
    pub fn heading(&self) -> &Heading {
        &self.heading
    }

    /// The events that hold, in order; event `n` has sequence number `n`.
    pub fn events(&self) -> &[Stamped] {
        &self.events
    }

    /// The event of a sequence number.
    pub fn event(&self, seq: u64) -> Option<&Event> {
        self.events
            .get(usize::try_from(seq).ok()?)
            .map(|stamped| &stamped.event)
    }

    /// Hash of the last line that holds.
    pub fn head(&self) -> &str {
        &self.head
    }

    /// The seal, where there is one that can be read.
    pub fn seal(&self) -> Option<&Seal> {
        self.seal.as_ref()
    }

    /// What is wrong with journal and seal by themselves.
    pub fn flaws(&self) -> &[Finding] {
        &self.flaws
    }

    /// The samples of a capture, their hash checked.
    pub fn samples(&self, capture: &Capture) -> Result<Vec<Samples>, RecordError> {
        let file = format!("{CAPTURES}/{}", capture.file);
        let wrong = |what: String| RecordError::Part {
            file: file.clone(),
            what,
        };
        if !is_plain_name(&capture.file) {
            return Err(wrong("not the name of a file beside the journal".to_owned()));
        }
        let bytes = fs::read(self.folder.join(&file)).map_err(|error| wrong(format!("cannot be read: {error}")))?;
        if chain::sha256(&bytes) != capture.sha256 {
            return Err(wrong("its hash is not that of the journal".to_owned()));
        }
        captures::decode(capture, &bytes).map_err(wrong)
    }

    /// The bytes of a file that went into the run, found by its hash.
    pub fn input(&self, input: &InputFile) -> Result<Vec<u8>, RecordError> {
        let wrong = |what: String| RecordError::Part {
            file: INPUTS.to_owned(),
            what,
        };
        let listing = super::seal::entries(&self.folder.join(INPUTS)).map_err(|(_, error)| wrong(error.to_string()))?;
        listing
            .keys()
            .filter_map(|name| fs::read(self.folder.join(INPUTS).join(name)).ok())
            .find(|bytes| chain::sha256(bytes) == input.sha256)
            .ok_or_else(|| {
                wrong(format!(
                    "no file has the hash that the heading gives for {} {}",
                    input.role, input.name
                ))
            })
    }
}

/// What an untrusted text must be before it is used as the name of a file within a folder.
fn is_plain_name(name: &str) -> bool {
    let allowed = |c: char| c.is_ascii_alphanumeric() || "._-".contains(c);
    !name.is_empty() && name.chars().all(allowed) && !name.chars().all(|c| c == '.')
}

fn read_seal(folder: &Path) -> (Option<Seal>, Option<Finding>) {
    let bytes = match fs::read(folder.join(SEAL)) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return (None, None),
        Err(error) => {
            return (
                None,
                Some(Finding::new(SEAL, None, FindingKind::Unreadable, error.to_string())),
            );
        }
    };
    match Seal::read(&bytes) {
        Ok(seal) if seal.form == JOURNAL_FORM => (Some(seal), None),
        Ok(seal) => {
            let what = format!("says form {} where the journal is of form {JOURNAL_FORM}", seal.form);
            (Some(seal), Some(Finding::new(SEAL, None, FindingKind::Altered, what)))
        }
        Err(what) => (None, Some(Finding::new(SEAL, None, FindingKind::Altered, what))),
    }
}

/// The form stands in the heading; a newer one may be laid out otherwise, so it is looked for before anything else.
fn refuse_newer_form(bytes: &[u8], file: &str) -> Result<(), RecordError> {
    #[derive(Deserialize)]
    struct Form {
        form: u64,
    }
    let first = bytes.split(|byte| *byte == b'\n').next().unwrap_or_default();
    let json = first
        .iter()
        .position(|byte| *byte == b'{')
        .map_or(&[][..], |start| &first[start..]);
    match serde_json::from_slice::<Form>(json) {
        Ok(Form { form }) if form > u64::from(JOURNAL_FORM) => Err(RecordError::NewerForm {
            file: file.to_owned(),
            found: form,
            known: JOURNAL_FORM,
        }),
        _ => Ok(()),
    }
}

/// The lines of a journal that hold.
struct Journal {
    events: Vec<Stamped>,
    head: String,
    flaws: Vec<Finding>,
}

fn read_journal(bytes: &[u8]) -> Journal {
    let mut journal = Journal {
        events: Vec::new(),
        head: START.to_owned(),
        flaws: Vec::new(),
    };
    let mut rest = bytes;
    while !rest.is_empty() {
        let number = journal.events.len() as u64 + 1;
        let flaw = |kind, what: String| Finding::new(JOURNAL, Some(number), kind, what);
        let Some(end) = rest.iter().position(|byte| *byte == b'\n') else {
            journal.flaws.push(flaw(
                FindingKind::Torn,
                "it has no end: the run was cut off while writing it".to_owned(),
            ));
            break;
        };
        match read_line(&journal, &rest[..end]) {
            Ok((hash, stamped)) => {
                journal.head = hash;
                journal.events.push(stamped);
            }
            Err(what) => {
                journal.flaws.push(flaw(FindingKind::Altered, what));
                break;
            }
        }
        rest = &rest[end + 1..];
    }
    journal
}

fn read_line(journal: &Journal, line: &[u8]) -> Result<(String, Stamped), String> {
    let (hash, json) = chain::check(&journal.head, line)?;
    let stamped: Stamped = serde_json::from_slice(json).map_err(|error| format!("not an event: {error}"))?;
    let wanted = journal.events.len() as u64;
    if stamped.seq != wanted {
        return Err(format!("its sequence number is {}, {wanted} was expected", stamped.seq));
    }
    if matches!(stamped.event, Event::RunStarted(_)) != (wanted == 0) {
        return Err("a heading stands first and only there".to_owned());
    }
    if matches!(
        journal.events.last().map(|last| &last.event),
        Some(Event::RunEnded { .. })
    ) {
        return Err("nothing follows the event that ends a run".to_owned());
    }
    Ok((hash, stamped))
}
