//! Waiting: for something to come, not to come, to settle.

use super::common::{FAIL_OR_INCONCLUSIVE, SIDES, SOURCE, WANTED};
use super::table::{Key, LIMIT_KEY, NAME, POINT, Record, Rest, Rule, Shape, SourceRule, TIME, Want};

const ONE_CONDITION: Rest = Rest {
    key: &POINT,
    describes: "The point, and what is wanted of it: a tolerance or a word.",
    value: Shape::Either(&WANTED),
    at_least: 1,
    at_most: 1,
};

/// `wait_for`
pub static WAIT_FOR: Record = Record {
    name: "wait_for",
    describes: "Waits until a point is as wanted. What it means where it does not come is a demand, and needs its source.",
    keys: &[
        &[
            Key::need(
                "every",
                Shape::Formula(Want::of(&TIME)),
                "200 ms",
                "Time between looks.",
            ),
            Key::may(
                "deadline",
                Shape::Formula(Want::of(&TIME)),
                "30 s",
                "The latest, a demand of the sequence itself, which needs its source.",
            ),
            Key::may(
                "limit",
                Shape::Form(&LIMIT_KEY),
                "pilot.x2_delay",
                "A limit of the set in the place of a deadline: its upper bound is the latest.",
            ),
            Key::may(
                "as",
                Shape::Form(&NAME),
                "t_x2",
                "The time that it took becomes a reading of this name.",
            ),
            Key::may(
                "otherwise",
                Shape::Map(&OTHERWISE),
                "{verdict: inconclusive, side: settings, says: \"waits for authorisation\"}",
                "What it means where it does not come; a fail where absent.",
            ),
        ],
        SOURCE,
    ],
    rest: Some(ONE_CONDITION),
    rules: &[
        Rule::OneOf(&["deadline", "limit"]),
        Rule::Source(SourceRule {
            when: &["deadline"],
            inherited: false,
        }),
    ],
};

static OTHERWISE: Record = Record {
    name: "otherwise",
    describes: "What it means where what was waited for does not come.",
    keys: &[&[
        Key::need(
            "verdict",
            Shape::Word(FAIL_OR_INCONCLUSIVE),
            "inconclusive",
            "The verdict.",
        ),
        Key::may("side", Shape::Word(SIDES), "settings", "The side that it points at."),
        Key::may(
            "says",
            Shape::Text,
            "\"waits for authorisation\"",
            "What it means, in the technician's words.",
        ),
    ]],
    rest: None,
    rules: &[],
};

/// `must_not`
pub static MUST_NOT: Record = Record {
    name: "must_not",
    describes: "Makes sure that something does not come for a time: a demand, which needs its source.",
    keys: &[
        &[
            Key::need("for", Shape::Formula(Want::of(&TIME)), "30 s", "For so long."),
            Key::need(
                "every",
                Shape::Formula(Want::of(&TIME)),
                "100 ms",
                "Time between looks.",
            ),
            Key::may(
                "means",
                Shape::Text,
                "\"closes without diode\"",
                "What it would mean, in the technician's words.",
            ),
        ],
        SOURCE,
    ],
    rest: Some(ONE_CONDITION),
    rules: &[Rule::Source(SourceRule {
        when: &[],
        inherited: false,
    })],
};

/// `settle`
pub static SETTLE: Record = Record {
    name: "settle",
    describes: "Waits until a reading stays within a band.",
    keys: &[&[
        Key::need(
            "point",
            Shape::Form(&POINT),
            "\"ac_output[L].current\"",
            "What must settle.",
        ),
        Key::need(
            "band",
            Shape::Formula(Want::DIFFERENCE),
            "0.2 A",
            "Half the width of the band.",
        ),
        Key::need(
            "for",
            Shape::Formula(Want::of(&TIME)),
            "500 ms",
            "How long it must stay inside.",
        ),
        Key::need("deadline", Shape::Formula(Want::of(&TIME)), "5 s", "The latest."),
    ]],
    rest: None,
    rules: &[],
};
