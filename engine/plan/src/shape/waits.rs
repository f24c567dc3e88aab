//! Reading, and waiting: for time to pass, for something to come, not to come, to settle.

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

/// `read`, alone or on the way
pub(super) static READ: Record = Record {
    name: "read",
    describes: "Names of readings and the points that they are read from.",
    keys: &[],
    rest: Some(Rest {
        key: &NAME,
        describes: "Name of the reading, used as `$name`, and its point.",
        value: Shape::Form(&POINT),
        at_least: 1,
        at_most: 100,
    }),
    rules: &[],
};

/// `hold` with readings on the way
pub static HOLD: Record = Record {
    name: "hold",
    describes: "Lets time pass and takes readings on the way: at its beginning, again and again, and at its end.",
    keys: &[
        &[Key::need("for", Shape::Formula(Want::of(&TIME)), "60 min", "How long.")],
        &[
            Key::need(
                "read",
                Shape::Map(&READ),
                "{t_soak: terminal.temperature}",
                "What is read; each time it becomes a reading of that name.",
            ),
            Key::need(
                "every",
                Shape::Formula(Want::of(&TIME)),
                "1 min",
                "Time between readings.",
            ),
        ],
    ],
    rest: None,
    rules: &[],
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
        Key::may(
            "read",
            Shape::Map(&READ),
            "{t_soak: terminal.temperature}",
            "What is read on the way; each time it becomes a reading of that name.",
        ),
        Key::may(
            "every",
            Shape::Formula(Want::of(&TIME)),
            "1 min",
            "Time between readings on the way.",
        ),
    ]],
    rest: None,
    rules: &[Rule::Needs("read", "every"), Rule::Needs("every", "read")],
};
