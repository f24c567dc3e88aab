//! The entry: from a text or bytes to a file, with all problems at once.

use super::{driver, frames, others, sequence};
use crate::files::bench::BenchFile;
use crate::files::chapter::{ChapterFile, WrittenSequence};
use crate::files::defect::DefectFile;
use crate::files::driver::DriverFile;
use crate::files::frames::FramesFile;
use crate::files::item::ItemFile;
use crate::files::limits::LimitsFile;
use crate::files::sides::SidesFile;
use crate::problem::{Problem, code, in_order, quoted};
use crate::shape::checked::{CheckedMap, Lower, Mismatch};
use crate::shape::table::Record;
use crate::shape::{
    Checker, bench, chapter, defect, driver as driver_shape, frames as frames_shape, item, limits,
    sequence as sequence_shape, sides,
};
use crate::source::{Sp, Span};
use crate::tree::{self, Content, Node};

/// The kinds of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FileKind {
    /// The test as written.
    Sequence,
    /// Steps that several sequences share.
    Chapter,
    /// A set of limits.
    Limits,
    /// The thing under test.
    Item,
    /// The instruments.
    Bench,
    /// How a kind of instrument is spoken to.
    Driver,
    /// A change of the virtual item.
    Defect,
    /// Side rules.
    Sides,
    /// Frames of a CAN bus.
    Frames,
}

impl FileKind {
    /// All kinds.
    pub const ALL: [Self; 9] = [
        Self::Sequence,
        Self::Chapter,
        Self::Limits,
        Self::Item,
        Self::Bench,
        Self::Driver,
        Self::Defect,
        Self::Sides,
        Self::Frames,
    ];

    /// The word in the first line of a file.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Sequence => "sequence",
            Self::Chapter => "chapter",
            Self::Limits => "limits",
            Self::Item => "item",
            Self::Bench => "bench",
            Self::Driver => "driver",
            Self::Defect => "defect",
            Self::Sides => "sides",
            Self::Frames => "frames",
        }
    }

    /// Its shape.
    pub fn record(self) -> &'static Record {
        match self {
            Self::Sequence => &sequence_shape::SEQUENCE,
            Self::Chapter => &chapter::CHAPTER,
            Self::Limits => &limits::LIMITS,
            Self::Item => &item::ITEM,
            Self::Bench => &bench::BENCH,
            Self::Driver => &driver_shape::DRIVER,
            Self::Defect => &defect::DEFECT,
            Self::Sides => &sides::SIDES_FILE,
            Self::Frames => &frames_shape::FRAMES,
        }
    }

    fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|k| k.word() == word)
    }
}

/// A file of any kind.
#[derive(Debug, Clone, PartialEq)]
pub enum AnyFile {
    /// `pilotage: sequence/1`, its chapters not yet taken in.
    Sequence(WrittenSequence),
    /// `pilotage: chapter/1`
    Chapter(ChapterFile),
    /// `pilotage: limits/1`
    Limits(LimitsFile),
    /// `pilotage: item/1`
    Item(ItemFile),
    /// `pilotage: bench/1`
    Bench(BenchFile),
    /// `pilotage: driver/1`
    Driver(DriverFile),
    /// `pilotage: defect/1`
    Defect(DefectFile),
    /// `pilotage: sides/1`
    Sides(SidesFile),
    /// `pilotage: frames/1`
    Frames(FramesFile),
}

impl AnyFile {
    /// Its kind.
    pub fn kind(&self) -> FileKind {
        match self {
            Self::Sequence(_) => FileKind::Sequence,
            Self::Chapter(_) => FileKind::Chapter,
            Self::Limits(_) => FileKind::Limits,
            Self::Item(_) => FileKind::Item,
            Self::Bench(_) => FileKind::Bench,
            Self::Driver(_) => FileKind::Driver,
            Self::Defect(_) => FileKind::Defect,
            Self::Sides(_) => FileKind::Sides,
            Self::Frames(_) => FileKind::Frames,
        }
    }
}

/// Reads a file of any kind. All its problems come at once, in the order of their places.
pub fn read(name: &str, text: &str) -> Result<AnyFile, Vec<Problem>> {
    read_wanted(name, text, None)
}

/// Reads bytes: as [`read`], and refuses what is not UTF-8.
pub fn read_bytes(name: &str, bytes: &[u8]) -> Result<AnyFile, Vec<Problem>> {
    let text = tree::decode(name, bytes).map_err(|problem| vec![*problem])?;
    read(name, text)
}

macro_rules! typed {
    ($($read:ident $kind:ident $file:ident;)*) => {
        $(#[doc = concat!("Reads a file that must be of the kind `", stringify!($kind), "`.")]
        pub fn $read(name: &str, text: &str) -> Result<$file, Vec<Problem>> {
            match read_wanted(name, text, Some(FileKind::$kind))? {
                AnyFile::$kind(file) => Ok(file),
                _ => unreachable!("another kind was refused before"),
            }
        })*
    };
}

typed! {
    read_sequence Sequence WrittenSequence;
    read_chapter Chapter ChapterFile;
    read_limits Limits LimitsFile;
    read_item Item ItemFile;
    read_bench Bench BenchFile;
    read_driver Driver DriverFile;
    read_defect Defect DefectFile;
    read_sides Sides SidesFile;
    read_frames Frames FramesFile;
}

fn read_wanted(name: &str, text: &str, wanted: Option<FileKind>) -> Result<AnyFile, Vec<Problem>> {
    let parsed = tree::parse(name, text);
    let Some(root) = parsed.root else {
        return Err(in_order(parsed.problems));
    };
    let mut checker = Checker::new(text, parsed.problems);
    let Some(kind) = kind_of(&root, wanted, &mut checker.problems) else {
        return Err(in_order(checker.problems));
    };
    let map = checker.map(&root, kind.record());
    match map {
        Some(map) if checker.problems.is_empty() => lower(kind, &map).map_err(|m| vec![our_mistake(&m)]),
        _ => Err(in_order(checker.problems)),
    }
}

fn our_mistake(mismatch: &Mismatch) -> Problem {
    let message = format!("the program's own table of shapes promised {} here", mismatch.1);
    Problem::new(code::OUR_MISTAKE, &mismatch.0, message).mend("this is a mistake of the program: please report it")
}

fn kind_of(root: &Node, wanted: Option<FileKind>, problems: &mut Vec<Problem>) -> Option<FileKind> {
    let entry = match &root.content {
        Content::Map(entries) => entries.iter().enumerate().find(|(_, (key, _))| key.value == "pilotage"),
        _ => None,
    };
    let Some((position, (key, value))) = entry else {
        problems.push(no_kind(&root.span, wanted));
        return None;
    };
    if position != 0 {
        problems.push(
            Problem::new(code::NO_KIND, &key.span, "the kind of file is not its first key")
                .expected("`pilotage` as the first key")
                .mend("move this line to the top of the file"),
        );
    }
    let Content::Scalar { text, .. } = &value.content else {
        problems.push(no_kind(&value.span, wanted));
        return None;
    };
    let found = kind_named(
        &Sp {
            value: text.clone(),
            span: value.span.clone(),
        },
        problems,
    )?;
    match wanted {
        Some(wanted) if wanted != found => {
            problems.push(other_kind(&value.span, wanted, found));
            None
        }
        _ => Some(found),
    }
}

fn no_kind(span: &Span, wanted: Option<FileKind>) -> Problem {
    let example = format!("pilotage: {}/1", wanted.unwrap_or(FileKind::Sequence).word());
    Problem::new(code::NO_KIND, span, "the file does not say what kind of file it is")
        .expected(format!("a first line such as `{example}`"))
        .mend(format!("begin the file with `{example}`"))
}

fn other_kind(span: &Span, wanted: FileKind, found: FileKind) -> Problem {
    Problem::new(
        code::OTHER_KIND,
        span,
        format!("this file is of the kind `{}`", found.word()),
    )
    .expected(format!("{}/1", wanted.word()))
    .got(format!("{}/1", found.word()))
    .mend(format!("give a file that begins with `pilotage: {}/1`", wanted.word()))
}

fn kind_named(text: &Sp<String>, problems: &mut Vec<Problem>) -> Option<FileKind> {
    let (word, form) = text.value.split_once('/').unwrap_or((&text.value, ""));
    let words = FileKind::ALL.map(FileKind::word);
    let Some(kind) = FileKind::of(word) else {
        let near = crate::shape::nearest(word, words.iter().copied());
        let mend = near.map_or(format!("write one of: {}", words.join("/1, ") + "/1"), |near| {
            format!("did you mean `{near}/1`?")
        });
        problems.push(
            Problem::new(
                code::UNKNOWN_KIND,
                &text.span,
                format!("{} is not a kind of file", quoted(&text.value)),
            )
            .expected(words.join("/1, ") + "/1")
            .got(quoted(&text.value))
            .mend(mend),
        );
        return None;
    };
    if form != "1" {
        let mend = if form.parse::<u32>().is_ok_and(|f| f > 1) {
            "this file is for a newer program; or write the form 1 if that is what it is".to_owned()
        } else {
            format!("write `pilotage: {word}/1`")
        };
        let what = if form.is_empty() {
            format!("the number of the form is missing behind `{word}`")
        } else {
            format!("the form {} of the kind `{word}` is not known", quoted(form))
        };
        problems.push(
            Problem::new(code::UNKNOWN_FORM, &text.span, what)
                .expected(format!("{word}/1"))
                .got(quoted(&text.value))
                .mend(mend),
        );
        return None;
    }
    Some(kind)
}

fn lower(kind: FileKind, map: &CheckedMap) -> Lower<AnyFile> {
    Ok(match kind {
        FileKind::Sequence => AnyFile::Sequence(sequence::sequence(map)?),
        FileKind::Chapter => AnyFile::Chapter(sequence::chapter(map)?),
        FileKind::Limits => AnyFile::Limits(others::limits(map)?),
        FileKind::Item => AnyFile::Item(others::item(map)?),
        FileKind::Bench => AnyFile::Bench(others::bench(map)?),
        FileKind::Driver => AnyFile::Driver(driver::driver(map)?),
        FileKind::Defect => AnyFile::Defect(others::defect(map)?),
        FileKind::Sides => AnyFile::Sides(others::sides(map)?),
        FileKind::Frames => AnyFile::Frames(frames::frames(map)?),
    })
}
