//! The chapter: steps that several sequences share; and what may stand in a list of steps.

use super::checked::CheckedMap;
use super::common::ITEM_KINDS;
use super::sequence::STEP;
use super::table::{Key, NAME, Record, Rule, Shape, Variants};
use crate::problem::{Problem, code, quoted};

/// `pilotage: chapter/1`
pub static CHAPTER: Record = Record {
    name: "chapter",
    describes: "A chapter: steps that sequences take in by the chapter's name.",
    keys: &[&[
        Key::need(
            "pilotage",
            Shape::Text,
            "chapter/1",
            "Kind and form of this file; always its first key.",
        ),
        Key::need(
            "title",
            Shape::Text,
            "Pilot levels of a wall unit",
            "What the chapter is called.",
        ),
        Key::need(
            "item",
            Shape::Word(ITEM_KINDS),
            "wall_unit",
            "The kind of item that its steps test. Only a sequence for the same kind can take it in.",
        ),
        Key::need(
            "steps",
            Shape::List(&Shape::Variants(&OWN_STEP), 1, 1000),
            "[{step: plate, id: WU-01, do: [{hold: 1 s}]}]",
            "The steps, in order. A name of a reading may come from a step before the chapter.",
        ),
    ]],
    rest: None,
    rules: &[],
};

/// What may stand in the steps of a sequence.
pub(super) static ENTRY: Variants = Variants {
    name: "entry",
    describes: "A step, or the name of a chapter.",
    forms: &[("step", &STEP), ("chapter", &TAKEN_IN), ("id", &STEP), ("do", &STEP)],
};

/// What may stand in the steps of a chapter.
static OWN_STEP: Variants = Variants {
    name: "own_step",
    describes: "A step. A chapter takes in no other chapter.",
    forms: &[
        ("step", &STEP),
        ("chapter", &WITHIN_A_CHAPTER),
        ("id", &STEP),
        ("do", &STEP),
    ],
};

static TAKEN_IN: Record = Record {
    name: "taken_in",
    describes: "A chapter whose steps stand at this place, as if they were written here.",
    keys: NAMED,
    rest: None,
    rules: &[],
};

static WITHIN_A_CHAPTER: Record = Record {
    name: "within_a_chapter",
    describes: "A chapter within a chapter, which is refused.",
    keys: NAMED,
    rest: None,
    rules: &[Rule::Never(within_a_chapter)],
};

static NAMED: &[&[Key]] = &[&[Key::need(
    "chapter",
    Shape::Form(&NAME),
    "pilot_levels",
    "The name of the chapter's file. Each chapter can stand once in a sequence.",
)]];

fn within_a_chapter(map: &CheckedMap) -> Problem {
    let name = map.may_string("chapter").unwrap_or_default();
    Problem::new(
        code::CHAPTER_IN_CHAPTER,
        map.place("chapter"),
        "a chapter stands within a chapter",
    )
    .expected("steps only")
    .got(format!("`chapter: {name}`"))
    .mend(format!(
        "name {} in the sequence, before or after this chapter; or write its steps here",
        quoted(&name)
    ))
}
