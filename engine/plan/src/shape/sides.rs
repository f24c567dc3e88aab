//! Side rules: from step outcomes to a statement about sides.

use super::common::{SIDES, STEP_IDS};
use super::table::{Key, NAME, Record, Rule, Shape, Word};

/// `pilotage: sides/1`
pub static SIDES_FILE: Record = Record {
    name: "sides",
    describes: "Side rules: from step outcomes to a statement about sides.",
    keys: &[&[
        Key::need(
            "pilotage",
            Shape::Text,
            "sides/1",
            "Kind and form of this file; always its first key.",
        ),
        Key::need("title", Shape::Text, "Which side", "What the rules are called."),
        Key::need(
            "rules",
            Shape::List(&Shape::Map(&SIDE_RULE), 1, 1000),
            "[{id: waits, if_inconclusive: [WU-13], side: settings, kind: level, says: \"waits\", cheapest_next: \"authorise\"}]",
            "The rules, in order; all that match speak.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static SIDE_RULE: Record = Record {
    name: "side_rule",
    describes: "One rule.",
    keys: &[&[
        Key::need("id", Shape::Form(&NAME), "contactor_slow", "Its name."),
        Key::may(
            "if_failed",
            Shape::List(&STEP_IDS, 1, 50),
            "[WU-19, WU-21]",
            "Matches where one of these steps failed.",
        ),
        Key::may(
            "if_inconclusive",
            Shape::List(&STEP_IDS, 1, 50),
            "[WU-13]",
            "Matches where one of these steps was inconclusive.",
        ),
        Key::need("side", Shape::Word(SIDES), "wall_unit", "The side that it points at."),
        Key::need(
            "kind",
            Shape::Word(KINDS),
            "time",
            "The kind of evidence; two kinds make a statement, one says likely.",
        ),
        Key::need(
            "says",
            Shape::Text,
            "\"the contactor closes late\"",
            "In the technician's words.",
        ),
        Key::need(
            "cheapest_next",
            Shape::Text,
            "\"measure the coil voltage\"",
            "The cheapest next check.",
        ),
    ]],
    rest: None,
    rules: &[Rule::SomeOf(&["if_failed", "if_inconclusive"])],
};

static KINDS: &[Word] = &[
    Word {
        word: "level",
        means: "A level outside its window.",
    },
    Word {
        word: "time",
        means: "A time outside its limit.",
    },
    Word {
        word: "swap",
        means: "What an exchange of parts showed.",
    },
    Word {
        word: "order",
        means: "Who moved first.",
    },
];
