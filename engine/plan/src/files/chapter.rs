//! A chapter: steps that several sequences share; and a sequence that names chapters.

use super::sequence::{SequenceFile, StepText};
use crate::source::Sp;
use pilotage_evidence::ItemKind;

/// `pilotage: chapter/1`
#[derive(Debug, Clone, PartialEq)]
pub struct ChapterFile {
    /// `title`
    pub title: Sp<String>,
    /// `item`: the kind of item that its steps test.
    pub item: Sp<ItemKind>,
    /// `steps`
    pub steps: Vec<StepText>,
}

/// One entry of the `steps` of a sequence.
#[derive(Debug, Clone, PartialEq)]
pub enum Entry {
    /// A step that is written there.
    Step(Box<StepText>),
    /// `chapter`: the name of a chapter whose steps stand for it.
    Chapter(Sp<String>),
}

/// A sequence as it was read. [`crate::fit::whole`] takes its chapters in.
pub type WrittenSequence = SequenceFile<Entry>;
