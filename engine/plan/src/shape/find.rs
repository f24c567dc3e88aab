//! What `find` looks for in a capture or a sweep.

use super::find_power::{
    FIND_DISTORTION, FIND_EFFICIENCY, FIND_HARMONIC, FIND_INRUSH, FIND_POWER, FIND_RESPONSE, FIND_RIPPLE,
};
use super::table::{Choice, Key, NAME, POINT, RATIO, Record, Rest, Rule, Shape, Variants, Want, Word};

/// `find`
pub static FIND: Record = Record {
    name: "find",
    describes: "Names of readings and what is looked for.",
    keys: &[],
    rest: Some(Rest {
        key: &NAME,
        describes: "Name of the reading, and what is looked for in the last capture or sweep.",
        value: Shape::Variants(&FIND_FORMS),
        at_least: 1,
        at_most: 100,
    }),
    rules: &[],
};

static FIND_FORMS: Variants = Variants {
    name: "find_form",
    describes: "What is looked for: a time between events, a parameter of a pulse, a level, a count, an angle, a swept value, or power and what goes with it.",
    forms: &[
        ("from", &FIND_BETWEEN),
        ("to", &FIND_BETWEEN),
        ("pulse", &FIND_PULSE),
        ("level", &FIND_LEVEL),
        ("count", &FIND_COUNT),
        ("angle", &FIND_ANGLE),
        ("at", &FIND_ANGLE),
        ("swept", &FIND_SWEPT),
        ("power", &FIND_POWER),
        ("efficiency", &FIND_EFFICIENCY),
        ("harmonic", &FIND_HARMONIC),
        ("distortion", &FIND_DISTORTION),
        ("ripple", &FIND_RIPPLE),
        ("inrush", &FIND_INRUSH),
        ("response", &FIND_RESPONSE),
    ],
};

static FIND_BETWEEN: Record = Record {
    name: "find_between",
    describes: "The time from one event to another.",
    keys: &[&[
        Key::need(
            "from",
            Shape::Map(&EVENT),
            "{pilot.high: {falls_through: 7 V}}",
            "The first event.",
        ),
        Key::need(
            "to",
            Shape::Map(&EVENT),
            "{\"ac_output[L-N].envelope\": {rises_through: {of: $supply_voltage, by: 35 %}}}",
            "The second event.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static FIND_PULSE: Record = Record {
    name: "find_pulse",
    describes: "A parameter of a periodic pulse (IEEE 181).",
    keys: &[&[
        Key::need("pulse", Shape::Form(&POINT), "pilot", "The captured channel."),
        Key::need("take", Shape::Word(PULSE_TAKES), "high", "Which parameter."),
    ]],
    rest: None,
    rules: &[],
};

static FIND_LEVEL: Record = Record {
    name: "find_level",
    describes: "A level over the whole capture.",
    keys: &[&[
        Key::need("level", Shape::Form(&POINT), "pilot", "The captured channel."),
        Key::need("take", Shape::Word(LEVEL_TAKES), "span", "Which level."),
    ]],
    rest: None,
    rules: &[],
};

static FIND_COUNT: Record = Record {
    name: "find_count",
    describes: "How often an event comes in the capture.",
    keys: &[&[Key::need(
        "count",
        Shape::Map(&EVENT),
        "{\"ac_output[L-N].envelope\": {falls_through: 20 V}}",
        "The event.",
    )]],
    rest: None,
    rules: &[],
};

static FIND_ANGLE: Record = Record {
    name: "find_angle",
    describes: "The angle of an alternating signal at an event: 0° where it rises through zero.",
    keys: &[&[
        Key::need(
            "angle",
            Shape::Form(&POINT),
            "\"ac_output[L-N]\"",
            "The captured channel with the wave.",
        ),
        Key::need(
            "at",
            Shape::Map(&EVENT),
            "{pilot.high: {rises_through: 7.5 V}}",
            "The event.",
        ),
        Key::may(
            "near",
            Shape::Formula(Want::of(&RATIO)),
            "$angle",
            "The angle that is expected: what is found lies within half a turn of it. Without it, from −180° to 180°.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static FIND_SWEPT: Record = Record {
    name: "find_swept",
    describes: "The value of a swept reading where another reading of the last sweep crosses a level.",
    keys: &[&[
        Key::need("swept", Shape::Form(&NAME), "v", "The reading whose value is wanted."),
        Key::need(
            "when",
            Shape::Map(&CROSSING),
            "{out: {rises_through: 80 V}}",
            "The reading that crosses, and the level.",
        ),
        Key::may(
            "way",
            Shape::Word(WAYS),
            "there",
            "On which way of the sweep; there where absent.",
        ),
    ]],
    rest: None,
    rules: &[],
};

pub(super) static EVENT: Record = Record {
    name: "event",
    describes: "An event in a capture: one channel that passes a level.",
    keys: &[],
    rest: Some(Rest {
        key: &POINT,
        describes: "The channel. A last part `high` or `low` takes the levels of each pulse, `duty` its duty, `envelope` the amplitude of an alternating signal, `contact` the share of its settled wave that stands, sample by sample: 100 % behind a closed contact.",
        value: Shape::Map(&PASSAGE),
        at_least: 1,
        at_most: 1,
    }),
    rules: &[],
};

static CROSSING: Record = Record {
    name: "crossing",
    describes: "A reading of the sweep that passes a level.",
    keys: &[],
    rest: Some(Rest {
        key: &NAME,
        describes: "The reading that crosses, and the level.",
        value: Shape::Map(&PLAIN_PASSAGE),
        at_least: 1,
        at_most: 1,
    }),
    rules: &[],
};

static LEVEL: Choice = Choice {
    scalar: Some(&Shape::Formula(Want::ANY)),
    list: None,
    map: Some(&Shape::Map(&SHARE)),
};

static SHARE: Record = Record {
    name: "share",
    describes: "A share of a value.",
    keys: &[&[
        Key::need("of", Shape::Formula(Want::ANY), "$supply_voltage", "The whole."),
        Key::need("by", Shape::Formula(Want::of(&RATIO)), "35 %", "The share."),
    ]],
    rest: None,
    rules: &[],
};

static PASSAGE_WORDS: &[Key] = &[
    Key::may(
        "rises_through",
        Shape::Either(&LEVEL),
        "{of: $supply_voltage, by: 35 %}",
        "It rises through this level.",
    ),
    Key::may(
        "falls_through",
        Shape::Either(&LEVEL),
        "7 V",
        "It falls through this level.",
    ),
];

static PASSAGE: Record = Record {
    name: "passage",
    describes: "How a signal passes a level.",
    keys: &[
        PASSAGE_WORDS,
        &[Key::may(
            "which",
            Shape::Word(WHICH),
            "last",
            "Which of several such events; the first where absent.",
        )],
    ],
    rest: None,
    rules: &[Rule::OneOf(&["rises_through", "falls_through"])],
};

static PLAIN_PASSAGE: Record = Record {
    name: "plain_passage",
    describes: "How a reading passes a level.",
    keys: &[PASSAGE_WORDS],
    rest: None,
    rules: &[Rule::OneOf(&["rises_through", "falls_through"])],
};

static PULSE_TAKES: &[Word] = &[
    Word {
        word: "high",
        means: "Top level.",
    },
    Word {
        word: "low",
        means: "Base level.",
    },
    Word {
        word: "frequency",
        means: "Repetition frequency.",
    },
    Word {
        word: "duty_at_zero",
        means: "Duty between crossings of 0 V.",
    },
    Word {
        word: "duty_at_half",
        means: "Duty between crossings of 50 %.",
    },
    Word {
        word: "rise",
        means: "Rise from 10 % to 90 %.",
    },
    Word {
        word: "fall",
        means: "Fall from 90 % to 10 %.",
    },
    Word {
        word: "duty_spread",
        means: "Standard deviation of the duty over the cycles.",
    },
];

static LEVEL_TAKES: &[Word] = &[
    Word {
        word: "mean",
        means: "Mean.",
    },
    Word {
        word: "rms",
        means: "Root mean square.",
    },
    Word {
        word: "span",
        means: "Highest minus lowest.",
    },
    Word {
        word: "highest",
        means: "Highest.",
    },
    Word {
        word: "lowest",
        means: "Lowest.",
    },
];

static WAYS: &[Word] = &[
    Word {
        word: "there",
        means: "From the first value to the last.",
    },
    Word {
        word: "back",
        means: "On the way back.",
    },
];

static WHICH: &[Word] = &[
    Word {
        word: "first",
        means: "The first in the capture.",
    },
    Word {
        word: "last",
        means: "The last in the capture.",
    },
];
