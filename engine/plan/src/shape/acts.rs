//! The forms of act.

use super::common::{FAIL_OR_INCONCLUSIVE, LIMIT_KEYS, SIDES, SOURCE, TOLERANCE, TOLERANCE_WORDS, WANTED};
use super::rules;
use super::table::{
    Choice, FREQUENCY, Key, NAME, POINT, Record, Rest, Rule, Shape, SourceRule, TIME, Variants, WORD, Want, Word,
};

/// One act: exactly one key.
pub static ACT: Record = Record {
    name: "act",
    describes: "One thing done. Acts are a list: their order is their meaning.",
    keys: &[&[
        Key::may(
            "set",
            Shape::Map(&SET),
            "{pilot_load: state_C}",
            "Sets points, in the order of the map.",
        ),
        Key::may(
            "read",
            Shape::Map(&READ),
            "{drop: \"path[L].voltage\"}",
            "Reads points, all at the same time; each becomes a reading of that name.",
        ),
        Key::may(
            "capture",
            Shape::Map(&CAPTURE),
            "{of: [pilot], for: 4 s}",
            "Captures samples while acts are done.",
        ),
        Key::may(
            "find",
            Shape::Map(&FIND),
            "{v_high: {pulse: pilot, take: high}}",
            "Looks for something in the last capture or sweep; each becomes a reading of that name.",
        ),
        Key::may(
            "sweep",
            Shape::Map(&SWEEP),
            "{set: {pilot_load.resistance: {from: 30 kΩ, to: 20 Ω}}, points: 60, as: r_set, dwell: 200 ms, do: [{read: {high: pilot.high}}]}",
            "Sets a point to many values and does acts at each.",
        ),
        Key::may(
            "ramp",
            Shape::Map(&RAMP),
            "{set: {load.current: {from: 0 A, to: 32 A}}, over: 5 s, steps: 10}",
            "Brings a point from one value to another in steps.",
        ),
        Key::may(
            "wait_for",
            Shape::Map(&WAIT_FOR),
            "{enclosure: closed, every: 200 ms, deadline: 30 s, status: common practice}",
            "Waits until a point is as wanted, at most until the deadline.",
        ),
        Key::may(
            "must_not",
            Shape::Map(&MUST_NOT),
            "{\"ac_output[L-N].voltage\": {at_least: 30 V}, for: 30 s, every: 100 ms, status: common practice}",
            "Makes sure that something does not come for a time.",
        ),
        Key::may(
            "hold",
            Shape::Formula(Want::of(&TIME)),
            "60 s",
            "Lets time pass, with protections and interlocks watched.",
        ),
        Key::may(
            "settle",
            Shape::Map(&SETTLE),
            "{point: \"ac_output[L].current\", band: 0.2 A, for: 500 ms, deadline: 5 s}",
            "Waits until a reading stays within a band.",
        ),
        Key::may(
            "ask",
            Shape::Map(&ASK),
            "{prompt: \"Is the plate legible?\", answer: yes_no, as: plate_ok, status: common practice}",
            "Asks a person.",
        ),
        Key::may(
            "isolate",
            Shape::Map(&ISOLATE),
            "{}",
            "Supply off, proven dead, locked by a person: afterwards isolated.",
        ),
        Key::may(
            "prove_dead",
            Shape::Map(&PROVE_DEAD),
            "{at: ac_output, deadline: 1 s}",
            "Proves every pair of conductors dead.",
        ),
        Key::may(
            "judge",
            Shape::Map(&JUDGE),
            "{close_delay: [pilot.close_delay]}",
            "Judges readings against limits.",
        ),
    ]],
    rest: None,
    rules: &[Rule::OneKey],
};

static SET: Record = Record {
    name: "set",
    describes: "Points and what they are set to: a word, or a value that is known before the run.",
    keys: &[],
    rest: Some(Rest {
        key: &POINT,
        describes: "The point, and the word or the value that it is set to.",
        value: Shape::WordOrAmount,
        at_least: 1,
        at_most: 100,
    }),
    rules: &[],
};

static READ: Record = Record {
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

static POINTS: Shape = Shape::Form(&POINT);

static CAPTURE: Record = Record {
    name: "capture",
    describes: "Samples of one or more points, taken while acts are done.",
    keys: &[&[
        Key::need(
            "of",
            Shape::List(&POINTS, 1, 16),
            "[pilot, \"ac_output[L-N]\"]",
            "The points, one a channel.",
        ),
        Key::need("for", Shape::Formula(Want::of(&TIME)), "4 s", "How long."),
        Key::may(
            "rate",
            Shape::Formula(Want::of(&FREQUENCY)),
            "20 kHz",
            "Samples a second; the bench's own where absent.",
        ),
        Key::may(
            "while",
            Shape::List(&Shape::Map(&ACT), 1, 1000),
            "[{set: {pilot_load: state_C}}]",
            "Acts done while it runs, after it was armed.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static FIND: Record = Record {
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
    describes: "What is looked for: a time between events, a parameter of a pulse, a level, a count, or a swept value.",
    forms: &[
        ("from", &FIND_BETWEEN),
        ("to", &FIND_BETWEEN),
        ("pulse", &FIND_PULSE),
        ("level", &FIND_LEVEL),
        ("count", &FIND_COUNT),
        ("swept", &FIND_SWEPT),
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

static EVENT: Record = Record {
    name: "event",
    describes: "An event in a capture: one channel that passes a level.",
    keys: &[],
    rest: Some(Rest {
        key: &POINT,
        describes: "The channel. A last part `high` or `low` takes the levels of each pulse, `envelope` the amplitude of an alternating signal.",
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
        Key::need(
            "by",
            Shape::Formula(Want::of(&super::table::RATIO)),
            "35 %",
            "The share.",
        ),
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
            "last",
            Shape::Truth,
            "true",
            "The last such event instead of the first.",
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

static SPACINGS: &[Word] = &[
    Word {
        word: "linear",
        means: "Equal differences.",
    },
    Word {
        word: "logarithmic",
        means: "Equal ratios.",
    },
];

static FROM_TO: Record = Record {
    name: "from_to",
    describes: "First and last value.",
    keys: &[&[
        Key::need("from", Shape::Formula(Want::ANY), "0 A", "The first value."),
        Key::need("to", Shape::Formula(Want::ANY), "32 A", "The last value."),
    ]],
    rest: None,
    rules: &[Rule::Check("ends agree", rules::ends_agree)],
};

static ONE_POINT: Record = Record {
    name: "swept_point",
    describes: "The one point that is set, with its first and last value.",
    keys: &[],
    rest: Some(Rest {
        key: &POINT,
        describes: "The point, with its first and last value.",
        value: Shape::Map(&FROM_TO),
        at_least: 1,
        at_most: 1,
    }),
    rules: &[],
};

static SWEEP: Record = Record {
    name: "sweep",
    describes: "Sets a point to many values in turn, and does acts at each.",
    keys: &[&[
        Key::need(
            "set",
            Shape::Map(&ONE_POINT),
            "{pilot_load.resistance: {from: 30 kΩ, to: 20 Ω}}",
            "The point, with its first and last value.",
        ),
        Key::need(
            "points",
            Shape::Count(2, 10_000),
            "60",
            "How many values, the first and the last included.",
        ),
        Key::may(
            "spacing",
            Shape::Word(SPACINGS),
            "logarithmic",
            "How the values are spread; linear where absent.",
        ),
        Key::may("and_back", Shape::Truth, "true", "Whether it comes back the same way."),
        Key::need("as", Shape::Form(&NAME), "r_set", "Name of the value, used as `$name`."),
        Key::need(
            "dwell",
            Shape::Formula(Want::of(&TIME)),
            "200 ms",
            "Wait after each value before the acts.",
        ),
        Key::need(
            "do",
            Shape::List(&Shape::Map(&ACT), 1, 1000),
            "[{read: {v: pilot.high}}]",
            "Acts at each value.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static RAMP: Record = Record {
    name: "ramp",
    describes: "Brings a point from one value to another in equal steps.",
    keys: &[&[
        Key::need(
            "set",
            Shape::Map(&ONE_POINT),
            "{load.current: {from: 0 A, to: 32 A}}",
            "The point, with its first and last value.",
        ),
        Key::need("over", Shape::Formula(Want::of(&TIME)), "5 s", "In this time."),
        Key::need("steps", Shape::Count(1, 10_000), "10", "In so many steps."),
    ]],
    rest: None,
    rules: &[],
};

const ONE_CONDITION: Rest = Rest {
    key: &POINT,
    describes: "The point, and what is wanted of it: a tolerance or a word.",
    value: Shape::Either(&WANTED),
    at_least: 1,
    at_most: 1,
};

static WAIT_FOR: Record = Record {
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
            Key::need("deadline", Shape::Formula(Want::of(&TIME)), "30 s", "The latest."),
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
    rules: &[Rule::Source(SourceRule {
        when: &[],
        inherited: false,
    })],
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

static MUST_NOT: Record = Record {
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

static SETTLE: Record = Record {
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

static ASK: Record = Record {
    name: "ask",
    describes: "Asks a person. Yes/no and words judge, and need their source; a quantity becomes a reading.",
    keys: &[
        &[
            Key::need("prompt", Shape::Text, "\"Is the plate legible?\"", "The prompt."),
            Key::need("answer", Shape::Either(&ANSWER), "yes_no", "What kind of answer."),
            Key::may("as", Shape::Form(&NAME), "plate_ok", "Name of the answer."),
            Key::may(
                "hands",
                Shape::Truth,
                "true",
                "Whether hands are wanted at the item: only while isolated.",
            ),
        ],
        SOURCE,
    ],
    rest: None,
    rules: &[Rule::Check("a judging answer has its source", rules::answer_has_source)],
};

static ANSWER: Choice = Choice {
    scalar: Some(&Shape::Word(&[Word {
        word: "yes_no",
        means: "Yes or no; no fails.",
    }])),
    list: None,
    map: Some(&Shape::Map(&ANSWER_FORM)),
};

static ANSWER_FORM: Record = Record {
    name: "answer",
    describes: "A word of a list, or a value with its unit.",
    keys: &[&[
        Key::may(
            "word",
            Shape::Map(&ANSWER_WORD),
            "{choices: [a, b], passes: [a]}",
            "One word of a list.",
        ),
        Key::may("quantity", Shape::Unit, "A", "A value in this unit."),
    ]],
    rest: None,
    rules: &[Rule::OneKey],
};

static CHOICE_WORD: Shape = Shape::Form(&WORD);

static ANSWER_WORD: Record = Record {
    name: "answer_word",
    describes: "Words that may be answered, and those that pass.",
    keys: &[&[
        Key::need(
            "choices",
            Shape::List(&CHOICE_WORD, 2, 20),
            "[none, light, heavy]",
            "All that may be answered.",
        ),
        Key::need(
            "passes",
            Shape::List(&CHOICE_WORD, 1, 20),
            "[none, light]",
            "Those that pass.",
        ),
    ]],
    rest: None,
    rules: &[Rule::Check("what passes is a choice", rules::passes_are_choices)],
};

static ISOLATE: Record = Record {
    name: "isolate",
    describes: "Takes no keys: write `isolate: {}`.",
    keys: &[],
    rest: None,
    rules: &[],
};

static PROVE_DEAD: Record = Record {
    name: "prove_dead",
    describes: "Proves every pair of conductors dead, AC and DC, with a meter proven before and after.",
    keys: &[&[
        Key::need("at", Shape::Word(DEAD_PLACES), "ac_output", "Where."),
        Key::need("deadline", Shape::Formula(Want::of(&TIME)), "1 s", "The latest."),
    ]],
    rest: None,
    rules: &[],
};

static DEAD_PLACES: &[Word] = &[
    Word {
        word: "ac_output",
        means: "The output of the item.",
    },
    Word {
        word: "ac_input",
        means: "Its supply.",
    },
];

static JUDGE: Record = Record {
    name: "judge",
    describes: "Names of readings and the limits that they are judged against.",
    keys: &[],
    rest: Some(Rest {
        key: &NAME,
        describes: "The reading; keys of the limit set, or a limit written here.",
        value: Shape::Either(&JUDGED),
        at_least: 1,
        at_most: 100,
    }),
    rules: &[],
};

static JUDGED: Choice = Choice {
    scalar: None,
    list: Some(&Shape::List(&LIMIT_KEYS, 1, 20)),
    map: Some(&Shape::Map(&JUDGED_RECORD)),
};

static JUDGED_RECORD: Record = Record {
    name: "judged",
    describes: "A reading or a computed value against limits of the set, or against a limit written here with its source.",
    keys: &[
        &[
            Key::may(
                "value",
                Shape::Formula(Want::ANY),
                "$drop / $i_now",
                "Computes the value first; the reading of that name where absent.",
            ),
            Key::may("unit", Shape::Unit, "mΩ", "The unit to print a computed value in."),
            Key::may(
                "limits",
                Shape::List(&LIMIT_KEYS, 1, 20),
                "[pilot.source_resistance]",
                "Keys of the limit set.",
            ),
            Key::may(
                "title",
                Shape::Text,
                "\"Resistance of one pole\"",
                "What the limit written here is about.",
            ),
            Key::may(
                "when",
                Shape::Formula(Want::TRUTH),
                "$i_set >= 75 % of $rated_current",
                "Judged only where this holds.",
            ),
        ],
        TOLERANCE,
        SOURCE,
    ],
    rest: None,
    rules: &[
        Rule::AtMostOneOf(TOLERANCE_WORDS),
        Rule::SomeOf(&["limits", "at_least", "at_most", "between", "within", "any_of"]),
        Rule::Needs("value", "unit"),
        Rule::Source(SourceRule {
            when: TOLERANCE_WORDS,
            inherited: false,
        }),
        Rule::Check("bounds agree", rules::bounds_agree),
        Rule::Check("bounds fit the unit", rules::bounds_fit_unit),
    ],
};
