//! The sequence: the test as written.

use super::acts::ACT;
use super::chapter::ENTRY;
use super::common::{ITEM_KINDS, SIDES, TEXT, TOLERANCE, TOLERANCE_RECORD, TOLERANCE_RULES};
use super::picture::PICTURE;
use super::table::{
    Choice, Key, NAME, POINT, RATIO, Record, Rest, Rule, STEP_ID, Shape, TIME, Variants, WORD, Want, Word,
};

/// `pilotage: sequence/1`
pub static SEQUENCE: Record = Record {
    name: "sequence",
    describes: "A sequence: the test as written.",
    keys: &[&[
        Key::need(
            "pilotage",
            Shape::Text,
            "sequence/1",
            "Kind and form of this file; always its first key.",
        ),
        Key::need(
            "title",
            Shape::Text,
            "Wall unit quick check",
            "What the sequence is called.",
        ),
        Key::need(
            "item",
            Shape::Word(ITEM_KINDS),
            "wall_unit",
            "The kind of item that it tests.",
        ),
        Key::need(
            "limits",
            Shape::Form(&NAME),
            "iec_61851_1_2017",
            "Name of the limit set taken when none is chosen.",
        ),
        Key::may(
            "more_limits",
            Shape::List(&Shape::Form(&NAME), 1, 20),
            "[iec_61000_3_2_class_a]",
            "Names of further limit sets, of other standards, whose keys it names too. No key may stand in two of them.",
        ),
        Key::may(
            "default_item",
            Shape::Form(&NAME),
            "wall_unit_32a",
            "Name of the item file taken when none is given.",
        ),
        Key::may(
            "default_bench",
            Shape::Form(&NAME),
            "mid_bench",
            "Name of the bench file taken when none is given.",
        ),
        Key::may(
            "basis",
            Shape::List(&Shape::Map(&BASIS), 1, 50),
            "[{standard: IEC 61851-1, edition: \"2017\", part: Annex A}]",
            "Standards that it rests on.",
        ),
        Key::may(
            "accepts",
            Shape::Map(&ACCEPTS),
            "{rated_current: {between: [6 A, 80 A]}}",
            "Nameplate values that it takes.",
        ),
        Key::may(
            "cautions",
            Shape::List(&Shape::Map(&CAUTION), 1, 50),
            "[{signal: danger, text: \"The connector carries mains.\"}]",
            "What a person must know and acknowledge before anything is energised.",
        ),
        Key::may(
            "interlocks",
            Shape::Map(&INTERLOCKS),
            "{enclosure: {must_be: closed, every: 50 ms}}",
            "Conditions that must hold while anything is energised.",
        ),
        Key::may(
            "protect",
            Shape::Map(&PROTECT),
            "{terminal.temperature: {at_most: 90 °C, every: 1 s}}",
            "Limits watched whenever anything is energised.",
        ),
        Key::need(
            "steps",
            Shape::List(&Shape::Variants(&ENTRY), 1, 1000),
            "[{step: plate, id: WU-01, do: [{hold: 1 s}]}]",
            "The steps, in order, and names of chapters, each for the steps of that chapter.",
        ),
        Key::may(
            "not_tested",
            Shape::List(&Shape::Map(&NOT_TESTED), 1, 500),
            "[{what: WU-06, title: Capacitance of the pilot, why: \"needs a bridge at the pilot\"}]",
            "What it knowingly leaves out, and why.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static BASIS: Record = Record {
    name: "basis",
    describes: "A standard that the sequence rests on.",
    keys: &[&[
        Key::need("standard", Shape::Text, "IEC 61851-1", "The standard."),
        Key::need("edition", Shape::Text, "\"2017\"", "Its edition."),
        Key::may("part", Shape::Text, "Annex A", "The part that is meant."),
    ]],
    rest: None,
    rules: &[],
};

static ACCEPTS: Record = Record {
    name: "accepts",
    describes: "Nameplate names with what the sequence takes.",
    keys: &[],
    rest: Some(Rest {
        key: &NAME,
        describes: "A nameplate name and the values that the sequence takes.",
        value: Shape::Map(&TOLERANCE_RECORD),
        at_least: 1,
        at_most: 100,
    }),
    rules: &[],
};

static SIGNALS: &[Word] = &[
    Word {
        word: "danger",
        means: "Will cause death or serious injury.",
    },
    Word {
        word: "warning",
        means: "Could cause death or serious injury.",
    },
    Word {
        word: "caution",
        means: "Could cause minor or moderate injury.",
    },
    Word {
        word: "notice",
        means: "Property damage.",
    },
];

static CAUTION: Record = Record {
    name: "caution",
    describes: "A caution with its signal word (ANSI Z535).",
    keys: &[&[
        Key::need("signal", Shape::Word(SIGNALS), "danger", "The signal word."),
        Key::need(
            "text",
            Shape::Text,
            "\"The connector carries mains in states C and D.\"",
            "What a person must know.",
        ),
        Key::may(
            "acknowledge",
            Shape::Word(&[Word {
                word: "named person",
                means: "A person, by name.",
            }]),
            "named person",
            "Who acknowledges it; there is no other way.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static INTERLOCKS: Record = Record {
    name: "interlocks",
    describes: "Conditions that must hold while anything is energised.",
    keys: &[],
    rest: Some(Rest {
        key: &POINT,
        describes: "The point, with the word that must be read, or the largest age of its proof.",
        value: Shape::Variants(&INTERLOCK),
        at_least: 1,
        at_most: 50,
    }),
    rules: &[],
};

static INTERLOCK: Variants = Variants {
    name: "interlock",
    describes: "A word that must be read again and again, or a proof that must be young enough.",
    forms: &[("must_be", &MUST_BE), ("every", &MUST_BE), ("proven_within", &PROVEN)],
};

static MUST_BE: Record = Record {
    name: "must_be",
    describes: "A word that must be read while anything is energised.",
    keys: &[&[
        Key::need("must_be", Shape::Form(&WORD), "closed", "The word that must be read."),
        Key::need(
            "every",
            Shape::Formula(Want::literal(&TIME)),
            "50 ms",
            "Time between checks; a missed check trips.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static PROVEN: Record = Record {
    name: "proven_within",
    describes: "A proof by a person that must be young enough.",
    keys: &[&[Key::need(
        "proven_within",
        Shape::Formula(Want::literal(&TIME)),
        "12 h",
        "The largest age of the proof.",
    )]],
    rest: None,
    rules: &[],
};

static PROTECT: Record = Record {
    name: "protect",
    describes: "Limits watched whenever anything is energised.",
    keys: &[],
    rest: Some(Rest {
        key: &POINT,
        describes: "The point that is watched, and its limit.",
        value: Shape::Map(&PROTECTION),
        at_least: 1,
        at_most: 50,
    }),
    rules: &[],
};

static PROTECTION: Record = Record {
    name: "protection",
    describes: "A limit and how often it is looked at.",
    keys: &[
        TOLERANCE,
        &[Key::need(
            "every",
            Shape::Formula(Want::literal(&TIME)),
            "1 s",
            "Time between checks; a missed check trips.",
        )],
    ],
    rest: None,
    rules: TOLERANCE_RULES,
};

static NOT_TESTED: Record = Record {
    name: "not_tested",
    describes: "Something that the sequence knowingly leaves out.",
    keys: &[&[
        Key::need("what", Shape::Text, "WU-06", "A step id or a clause."),
        Key::need("title", Shape::Text, "Capacitance of the pilot", "In words."),
        Key::need(
            "why",
            Shape::Text,
            "\"needs a 1 kHz bridge at the pilot\"",
            "Why not, and what would be needed.",
        ),
    ]],
    rest: None,
    rules: &[],
};

pub(super) static STEP: Record = Record {
    name: "step",
    describes: "One step.",
    keys: &[&[
        Key::need("step", Shape::Text, "contactor closes", "The title."),
        Key::need("id", Shape::Form(&STEP_ID), "WU-19", "The id of the catalogue."),
        Key::may(
            "closes",
            Shape::Form(&STEP_ID),
            "BC-05",
            "The id of an earlier look at the bench that this step takes once more. Where it ends in an error now, no verdict in between counts: each becomes inconclusive, side bench.",
        ),
        Key::may(
            "only_if",
            Shape::Formula(Want::TRUTH),
            "$rated_current >= 16 A",
            "A condition over nameplate values; where it does not hold, the step does not apply.",
        ),
        Key::may(
            "needs",
            Shape::Map(&NEEDS),
            "{close_delay: {uncertainty: {at_most: 50 ms}}}",
            "How well readings must be known, so that their limits can be judged.",
        ),
        Key::may(
            "repeat",
            Shape::Map(&REPEAT),
            "{times: 10}",
            "How often the acts are done; every pass is judged.",
        ),
        Key::may(
            "for_each",
            Shape::Map(&FOR_EACH),
            "{i_set: {of: $rated_current, at: [25 %, 100 %]}}",
            "A name and its values; the acts are done for each. Of several names the first changes least often.",
        ),
        Key::need(
            "do",
            Shape::List(&Shape::Map(&ACT), 1, 1000),
            "[{hold: 1 s}]",
            "The acts, in order.",
        ),
        Key::may(
            "pictures",
            Shape::List(&Shape::Variants(&PICTURE), 1, 12),
            "[{ladder: drop, across: i_set}]",
            "What a report draws of it.",
        ),
        Key::may(
            "if_fail",
            Shape::Map(&IF_FAIL),
            "{means: \"coil or driver\", look_next: [WU-21], side: wall_unit}",
            "What a fail means and what to look at next.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static NEEDS: Record = Record {
    name: "needs",
    describes: "How well readings must be known.",
    keys: &[],
    rest: Some(Rest {
        key: &NAME,
        describes: "A reading and its largest expanded uncertainty.",
        value: Shape::Map(&NEED),
        at_least: 1,
        at_most: 50,
    }),
    rules: &[],
};

static NEED: Record = Record {
    name: "need",
    describes: "What a reading needs.",
    keys: &[&[Key::need(
        "uncertainty",
        Shape::Map(&NEED_UNCERTAINTY),
        "{at_most: 50 ms}",
        "Its expanded uncertainty.",
    )]],
    rest: None,
    rules: &[],
};

static NEED_UNCERTAINTY: Record = Record {
    name: "need_uncertainty",
    describes: "The largest expanded uncertainty (k = 2).",
    keys: &[&[Key::need(
        "at_most",
        Shape::Formula(Want::DIFFERENCE),
        "50 ms",
        "Not above this.",
    )]],
    rest: None,
    rules: &[],
};

static REPEAT: Record = Record {
    name: "repeat",
    describes: "How often the acts are done.",
    keys: &[&[
        Key::need("times", Shape::Count(2, 100_000), "10", "How often."),
        Key::may(
            "judge",
            Shape::Word(&[Word {
                word: "each",
                means: "Every pass is judged.",
            }]),
            "each",
            "Every pass is judged; there is no other way.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static VALUE: Shape = Shape::Formula(Want::ANY);
static SHARES: Shape = Shape::Formula(Want::of(&RATIO));

static FOR_EACH: Record = Record {
    name: "for_each",
    describes: "Names and their values, in order. Of several names the acts are done for every combination.",
    keys: &[],
    rest: Some(Rest {
        key: &NAME,
        describes: "The name, used as `$name`, and its values.",
        value: Shape::Either(&Choice {
            scalar: None,
            list: Some(&Shape::List(&VALUE, 1, 1000)),
            map: Some(&Shape::Map(&SHARES_OF)),
        }),
        at_least: 1,
        at_most: 3,
    }),
    rules: &[],
};

static SHARES_OF: Record = Record {
    name: "shares_of",
    describes: "Shares of a value.",
    keys: &[&[
        Key::need("of", Shape::Formula(Want::ANY), "$rated_current", "The whole."),
        Key::need(
            "at",
            Shape::List(&SHARES, 1, 1000),
            "[25 %, 50 %, 75 %, 100 %]",
            "The shares, in order.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static IF_FAIL: Record = Record {
    name: "if_fail",
    describes: "What a fail means.",
    keys: &[&[
        Key::may(
            "means",
            Shape::Text,
            "\"coil, driver or state logic\"",
            "In the technician's words.",
        ),
        Key::may(
            "look_next",
            Shape::List(&TEXT, 1, 20),
            "[\"coil voltage\", WU-21]",
            "What to look at next: words, or ids of steps.",
        ),
        Key::may(
            "side",
            Shape::Word(SIDES),
            "wall_unit",
            "The side that a fail points at.",
        ),
    ]],
    rest: None,
    rules: &[Rule::SomeOf(&["means", "look_next", "side"])],
};
