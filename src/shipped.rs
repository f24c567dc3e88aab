//! Files by name: a path that exists, then the folders given with `--files`, then the folder of the sequence, then the
//! files that are embedded in the binary.

use include_dir::{Dir, include_dir};
use pilotage_plan::fit::near;
use pilotage_plan::tree::MOST_BYTES;
use std::io::Read;
use std::path::{Path, PathBuf};

static SEQUENCES: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/sequences");
static DRIVERS: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/drivers/files");

/// The folders of shipped files, by what they hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shelf {
    /// Sequences, in folders by the item's kind.
    Sequences,
    /// Chapters of sequences.
    Chapters,
    /// Limit sets.
    Limits,
    /// Items.
    Items,
    /// Benches.
    Benches,
    /// Defects, in folders by the item's kind.
    Defects,
    /// Side rules.
    Sides,
    /// Drivers.
    Drivers,
}

impl Shelf {
    fn folder(self) -> &'static str {
        match self {
            Self::Sequences => "",
            Self::Chapters => "chapters/",
            Self::Limits => "limits/",
            Self::Items => "items/",
            Self::Benches => "benches/",
            Self::Defects => "defects/",
            Self::Sides => "sides/",
            Self::Drivers => "drivers/",
        }
    }

    fn root(self) -> &'static Dir<'static> {
        if self == Self::Drivers { &DRIVERS } else { &SEQUENCES }
    }

    /// What one file of this shelf is called in messages.
    pub fn word(self) -> &'static str {
        match self {
            Self::Sequences => "sequence",
            Self::Chapters => "chapter",
            Self::Limits => "limit set",
            Self::Items => "item",
            Self::Benches => "bench",
            Self::Defects => "defect",
            Self::Sides => "side rules",
            Self::Drivers => "driver",
        }
    }
}

/// A text with the name that messages and records use for it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Text {
    /// The path as given, or `shipped:` and the name of an embedded file.
    pub name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// A file that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("no {word} called `{name}`: {why}")]
pub struct NotFound {
    word: &'static str,
    name: String,
    why: String,
    /// How to mend it.
    pub mend: String,
}

/// Where files are looked for.
#[derive(Debug, Clone, Default)]
pub struct Shelves {
    /// Folders that come before the shipped files, in order.
    pub folders: Vec<PathBuf>,
}

impl Shelves {
    /// A file by its path or its name (with or without `.yaml`).
    pub fn find(&self, shelf: Shelf, name: &str) -> Result<Text, NotFound> {
        let path = Path::new(name);
        if path.is_file() {
            return read(path, shelf, name);
        }
        for folder in &self.folders {
            for candidate in candidates(name) {
                for below in [folder.join(shelf.folder()).join(&candidate), folder.join(&candidate)] {
                    if below.is_file() {
                        return read(&below, shelf, name);
                    }
                }
            }
        }
        shipped(shelf, name).ok_or_else(|| not_found(shelf, name))
    }

    /// Every file of a shelf's folder in the given ones, and in the folders below it; in the order of the folders, then by name.
    pub fn own(&self, shelf: Shelf) -> Result<Vec<Text>, NotFound> {
        let mut texts = Vec::new();
        for folder in &self.folders {
            let mut paths = Vec::new();
            let below = folder.join(shelf.folder());
            yaml_below(&below, &mut paths).map_err(|error| unreadable(shelf, &below.to_string_lossy(), &error))?;
            paths.sort();
            for path in paths {
                texts.push(read(&path, shelf, &path.to_string_lossy())?);
            }
        }
        Ok(texts)
    }

    /// Every shipped file of a shelf, by name, in order.
    pub fn all(shelf: Shelf) -> Vec<Text> {
        embedded(shelf).into_iter().map(text).collect()
    }
}

fn belongs(shelf: Shelf, inner: &str) -> bool {
    let others = ["chapters/", "limits/", "items/", "benches/", "defects/", "sides/"];
    match shelf {
        Shelf::Drivers => true,
        Shelf::Sequences => !others.iter().any(|other| inner.starts_with(other)),
        _ => inner.starts_with(shelf.folder()),
    }
}

/// A shipped file: its path within the root of its shelf, and its bytes.
type Embedded = (String, &'static [u8]);

/// The shipped files of a shelf, by name, in order. Nothing is copied but their paths: a run looks some dozen names up.
fn embedded(shelf: Shelf) -> Vec<Embedded> {
    let mut files = Vec::new();
    collect(shelf.root(), &mut files);
    files.retain(|(path, _)| belongs(shelf, path));
    files.sort_unstable();
    files
}

fn text((path, bytes): Embedded) -> Text {
    Text {
        name: format!("shipped:{path}"),
        bytes: bytes.to_vec(),
    }
}

fn collect(dir: &'static Dir<'static>, found: &mut Vec<Embedded>) {
    for file in dir.files() {
        let path = file.path().to_string_lossy().replace('\\', "/");
        if Path::new(&path)
            .extension()
            .is_some_and(|extension| extension == "yaml")
        {
            found.push((path, file.contents()));
        }
    }
    for below in dir.dirs() {
        collect(below, found);
    }
}

fn candidates(name: &str) -> [String; 2] {
    [name.to_owned(), format!("{name}.yaml")]
}

fn read(path: &Path, shelf: Shelf, name: &str) -> Result<Text, NotFound> {
    match bytes(path) {
        Ok(bytes) => Ok(Text {
            name: path.to_string_lossy().into_owned(),
            bytes,
        }),
        Err(error) => Err(unreadable(shelf, name, &error)),
    }
}

fn unreadable(shelf: Shelf, name: &str, error: &std::io::Error) -> NotFound {
    NotFound {
        word: shelf.word(),
        name: name.to_owned(),
        why: error.to_string(),
        mend: "make it readable".to_owned(),
    }
}

/// A folder that is not there holds nothing. Links to folders are not followed.
fn yaml_below(folder: &Path, found: &mut Vec<PathBuf>) -> std::io::Result<()> {
    if !folder.is_dir() {
        return Ok(());
    }
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        if entry.file_type()?.is_dir() {
            yaml_below(&entry.path(), found)?;
        } else if entry.path().extension().is_some_and(|extension| extension == "yaml") {
            found.push(entry.path());
        }
    }
    Ok(())
}

/// No more than what the reader then refuses as too large: a huge file must not fill the memory first.
fn bytes(path: &Path) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    std::fs::File::open(path)?
        .take(MOST_BYTES as u64 + 1)
        .read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// A shipped file by its name with or without folder and ending.
fn shipped(shelf: Shelf, name: &str) -> Option<Text> {
    let wanted = name.trim_start_matches("shipped:").trim_end_matches(".yaml");
    let found = embedded(shelf).into_iter().find(|(path, _)| {
        let inner = path.trim_end_matches(".yaml");
        inner == wanted
            || inner.strip_prefix(shelf.folder()) == Some(wanted)
            || inner.rsplit('/').next() == Some(wanted)
    });
    found.map(text)
}

/// So many names stand in a message; where there are more, it says how to list them.
const MOST_LISTED: usize = 12;
/// So many near names are given.
const MOST_NEAR: usize = 3;

/// The near names first, then how to list all: the names themselves where they are few, else `listing` ("`pilotage defects`
/// lists all").
pub fn did_you_mean<S: AsRef<str>>(name: &str, known: &[S], listing: &str) -> String {
    let known: Vec<&str> = known.iter().map(AsRef::as_ref).collect();
    let all = if known.len() <= MOST_LISTED {
        format!("one of: {}", known.join(", "))
    } else {
        listing.to_owned()
    };
    let near = near_names(name, &known);
    if near.is_empty() {
        return all;
    }
    format!("did you mean `{}`? Else {all}", near.join("` or `"))
}

/// Slips of the finger, nearest first; then names of which this is a part.
fn near_names(name: &str, known: &[&str]) -> Vec<String> {
    let mut left = known.to_vec();
    let mut found = Vec::new();
    while let Some(next) = near::nearest(name, &left) {
        left.retain(|known| *known != next);
        found.push(next);
    }
    let part = name.to_lowercase();
    if part.len() > 2 {
        left.retain(|known| known.to_lowercase().contains(&part));
        found.extend(left.into_iter().map(str::to_owned));
    }
    found.truncate(MOST_NEAR);
    found
}

fn not_found(shelf: Shelf, name: &str) -> NotFound {
    let known: Vec<String> = embedded(shelf)
        .iter()
        .map(|(path, _)| path.trim_end_matches(".yaml"))
        .map(|inner| inner.strip_prefix(shelf.folder()).unwrap_or(inner).to_owned())
        .collect();
    NotFound {
        word: shelf.word(),
        name: name.to_owned(),
        why: "there is no such file, and no shipped one of that name".to_owned(),
        mend: format!(
            "give a path, or a shipped name: {}",
            did_you_mean(name, &known, &format!("one of: {}", known.join(", ")))
        ),
    }
}
