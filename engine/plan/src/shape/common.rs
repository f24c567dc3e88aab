//! Parts that several kinds of file share.

use super::rules;
use super::table::{Choice, Key, LIMIT_KEY, Record, Rule, STEP_ID, Shape, Want, Word};

/// The comparison words; exactly one makes a tolerance.
pub static TOLERANCE_WORDS: &[&str] = &["at_least", "at_most", "between", "within", "any_of"];

/// Bounds.
static BOUND: Shape = Shape::Formula(Want::ANY);

/// `within: {of, by}`
static WITHIN: Record = Record {
    name: "within",
    describes: "A middle and half the width of the band around it.",
    keys: &[&[
        Key::need("of", Shape::Formula(Want::ANY), "230 V", "The middle."),
        Key::need(
            "by",
            Shape::Formula(Want::DIFFERENCE),
            "10 %",
            "Half the width: a difference (K for temperatures), or a share of the middle.",
        ),
    ]],
    rest: None,
    rules: &[Rule::Check("the width fits the middle", rules::width_fits)],
};

/// Keys of a tolerance.
pub static TOLERANCE: &[Key] = &[
    Key::may(
        "at_least",
        Shape::Formula(Want::ANY),
        "8.477 V",
        "Not below this; the bound itself is accepted.",
    ),
    Key::may(
        "at_most",
        Shape::Formula(Want::ANY),
        "90 °C",
        "Not above this; the bound itself is accepted.",
    ),
    Key::may(
        "between",
        Shape::List(&BOUND, 2, 2),
        "[8.477 V, 9.489 V]",
        "Not below the first and not above the second.",
    ),
    Key::may(
        "within",
        Shape::Map(&WITHIN),
        "{of: 1 kHz, by: 2 %}",
        "A band around a middle.",
    ),
    Key::may(
        "any_of",
        Shape::List(&BOUND, 1, 100),
        "[120 V, 230 V, 240 V]",
        "Equal to one of these: choices and codes, not measured numbers.",
    ),
];

/// A tolerance alone.
pub static TOLERANCE_RECORD: Record = Record {
    name: "tolerance",
    describes: "What is accepted: exactly one comparison word.",
    keys: &[TOLERANCE],
    rest: None,
    rules: TOLERANCE_RULES,
};

/// Rules of every tolerance.
pub static TOLERANCE_RULES: &[Rule] = &[
    Rule::OneOf(TOLERANCE_WORDS),
    Rule::Check("bounds agree", rules::bounds_agree),
];

/// A tolerance or a word.
pub static WANTED: Choice = Choice {
    scalar: Some(&Shape::Form(&super::table::WORD)),
    list: None,
    map: Some(&Shape::Map(&TOLERANCE_RECORD)),
};

/// How a figure is known.
pub static STATUS: &[Word] = &[
    Word {
        word: "read",
        means: "Read in the text of the named document.",
    },
    Word {
        word: "restated",
        means: "Read in a text that restates the named document; `by` says in which.",
    },
    Word {
        word: "derived",
        means: "Calculated from other figures.",
    },
    Word {
        word: "common practice",
        means: "A habit of the trade without a clause.",
    },
    Word {
        word: "from memory",
        means: "Not seen in writing; the verdict says so.",
    },
];

/// Keys of the source of a limit.
pub static SOURCE: &[Key] = &[
    Key::may(
        "status",
        Shape::Word(STATUS),
        "restated",
        "How the figure is known. A limit without it is refused.",
    ),
    Key::may("standard", Shape::Text, "IEC 61851-1", "The document that demands it."),
    Key::may("edition", Shape::Text, "\"2017\"", "Edition of the document."),
    Key::may("clause", Shape::Text, "Annex A, Table A.2", "Where in the document."),
    Key::may(
        "by",
        Shape::Text,
        "two charge-controller manuals",
        "By whom it was restated, or how it was derived.",
    ),
];

/// Sides of a fault.
pub static SIDES: &[Word] = &[
    Word {
        word: "wall_unit",
        means: "The wall unit.",
    },
    Word {
        word: "vehicle",
        means: "The vehicle.",
    },
    Word {
        word: "cable_or_inlet",
        means: "The cable or the inlet.",
    },
    Word {
        word: "installation",
        means: "The installation behind the wall unit.",
    },
    Word {
        word: "settings",
        means: "Nothing is broken: a setting, a schedule, an authorisation.",
    },
    Word {
        word: "pairing",
        means: "Each in tolerance, together not.",
    },
    Word {
        word: "bench",
        means: "The bench.",
    },
    Word {
        word: "not_decidable",
        means: "The readings do not say.",
    },
];

/// Kinds of item.
pub static ITEM_KINDS: &[Word] = &[
    Word {
        word: "wall_unit",
        means: "A wall unit (EVSE, mode 3).",
    },
    Word {
        word: "portable_cord",
        means: "A portable cord with an in-cable box (mode 2).",
    },
    Word {
        word: "onboard_charger",
        means: "The charger in the vehicle.",
    },
    Word {
        word: "inlet",
        means: "The vehicle's inlet.",
    },
    Word {
        word: "cable_assembly",
        means: "A detachable cable.",
    },
    Word {
        word: "charging_session",
        means: "A wall unit charging a vehicle, watched in line.",
    },
    Word {
        word: "bench",
        means: "The bench, checked itself.",
    },
];

/// Verdicts that a file may ask for.
pub static FAIL_OR_INCONCLUSIVE: &[Word] = &[
    Word {
        word: "fail",
        means: "The item is outside its tolerance.",
    },
    Word {
        word: "inconclusive",
        means: "Neither can be said: the item waits for something.",
    },
];

/// Keys of limits.
pub static LIMIT_KEYS: Shape = Shape::Form(&LIMIT_KEY);
/// Ids of steps.
pub static STEP_IDS: Shape = Shape::Form(&STEP_ID);
/// Any text.
pub static TEXT: Shape = Shape::Text;
