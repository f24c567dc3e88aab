//! A sequence with its chapters taken in: one flat list of steps, each of which keeps the place where it was written.

use super::code;
use crate::files::chapter::{ChapterFile, Entry, WrittenSequence};
use crate::files::sequence::{SequenceFile, StepText};
use crate::problem::{Problem, in_order};
use crate::source::Sp;
use pilotage_evidence::ItemKind;
use std::collections::BTreeMap;

/// Reads a chapter by its name.
type Read<'a> = &'a mut dyn FnMut(&Sp<String>) -> Result<ChapterFile, Vec<Problem>>;

/// Takes every chapter in that a sequence names, as if its steps were written there. `read` finds and reads a chapter by its
/// name; where there is none it says so with [`unknown_file`].
///
/// # Errors
/// Every problem of the chapters together; a chapter for another kind of item; a chapter, or a step of one id and title, that
/// stands twice.
pub fn whole(written: WrittenSequence, read: Read<'_>) -> Result<SequenceFile, Vec<Problem>> {
    let mut chapters = Chapters {
        kind: written.item.clone(),
        taken: BTreeMap::new(),
        problems: Vec::new(),
    };
    let sequence = written.map_steps(|entries| {
        let steps = entries.into_iter().map(|entry| chapters.steps_of(entry, &mut *read));
        steps.flatten().collect()
    });
    chapters.problems.extend(repeated(&sequence.steps));
    if chapters.problems.is_empty() {
        Ok(sequence)
    } else {
        Err(in_order(chapters.problems))
    }
}

/// A file, e.g. a chapter, that is named in another one and not found: `why`, and `mend`.
pub fn unknown_file(what: &str, name: &Sp<String>, why: impl Into<String>, mend: impl Into<String>) -> Problem {
    Problem::new(code::UNKNOWN_FILE, &name.span, why)
        .expected(format!(
            "the name of one {what} that is given with `--files`, lies beside the sequence, or is shipped"
        ))
        .got(format!("`{}`", name.value))
        .mend(mend)
}

/// What was taken in so far.
struct Chapters {
    kind: Sp<ItemKind>,
    taken: BTreeMap<String, Sp<String>>,
    problems: Vec<Problem>,
}

impl Chapters {
    fn steps_of(&mut self, entry: Entry, read: Read<'_>) -> Vec<StepText> {
        let name = match entry {
            Entry::Step(step) => return vec![*step],
            Entry::Chapter(name) => name,
        };
        if let Some(first) = self.taken.get(&name.value) {
            self.problems.push(named_twice(&name, first));
            return Vec::new();
        }
        self.taken.insert(name.value.clone(), name.clone());
        match read(&name) {
            Ok(chapter) => {
                if chapter.item.value != self.kind.value {
                    self.problems.push(other_kind(&name, &chapter, &self.kind));
                }
                chapter.steps
            }
            Err(problems) => {
                self.problems.extend(problems);
                Vec::new()
            }
        }
    }
}

fn named_twice(name: &Sp<String>, first: &Sp<String>) -> Problem {
    Problem::new(
        code::STEP_TWICE,
        &name.span,
        format!("the chapter `{}` is named twice", name.value),
    )
    .expected("each chapter once in a sequence")
    .got(format!("`{}` again, as at {}", name.value, first.span.place()))
    .mend("take one of the two away; steps that shall be done again are written in the sequence, with titles of their own")
}

fn other_kind(name: &Sp<String>, chapter: &ChapterFile, wanted: &Sp<ItemKind>) -> Problem {
    let says = |kind: &Sp<ItemKind>| format!("`item: {}`", kind.value.word());
    Problem::new(
        code::OTHER_CHAPTER,
        &name.span,
        format!("the chapter `{}` tests another kind of item", name.value),
    )
    .expected(format!("{}, as in {}", says(wanted), wanted.span.place()))
    .got(format!("{} in {}", says(&chapter.item), chapter.item.span.place()))
    .mend("take it away, or name a chapter for the sequence's kind of item")
}

/// Steps that have id and title of an earlier one of another file: whoever reads a report could not tell them apart, and most
/// often the step is done twice. Parts of one step of the catalogue share its id, never the title.
fn repeated(steps: &[StepText]) -> Vec<Problem> {
    let mut first: BTreeMap<(&str, &str), &StepText> = BTreeMap::new();
    let mut problems = Vec::new();
    for step in steps {
        let earlier = *first.entry((&step.id.value, &step.title.value)).or_insert(step);
        if earlier.id.span.file != step.id.span.file {
            problems.push(stands_twice(step, earlier));
        }
    }
    problems
}

fn stands_twice(step: &StepText, earlier: &StepText) -> Problem {
    Problem::new(
        code::STEP_TWICE,
        &step.title.span,
        format!("the step {} of this title comes from two files", step.id.value),
    )
    .expected("each step once; parts of one step differ in their titles")
    .got(format!(
        "`{}` again, as at {}",
        step.title.value,
        earlier.title.span.place()
    ))
    .mend("take one of the two away; where it shall be done again, give it a title of its own")
}
