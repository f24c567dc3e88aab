//! The forms of act.

use super::find::FIND;
use super::questions::{ASK, JUDGE};
use super::rules;
use super::table::{Choice, FREQUENCY, Key, NAME, POINT, Record, Rest, Rule, Shape, TIME, Want, Word};
use super::waits::{HOLD, MUST_NOT, READ, SETTLE, WAIT_FOR};

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
            Shape::Either(&HELD),
            "60 s",
            "Lets time pass, with protections and interlocks watched. As a map it takes readings on the way.",
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

static HELD: Choice = Choice {
    scalar: Some(&Shape::Formula(Want::of(&TIME))),
    list: None,
    map: Some(&Shape::Map(&HOLD)),
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
    Word {
        word: "dc_output",
        means: "The DC output of an on-board charger.",
    },
    Word {
        word: "contacts",
        means: "Every contact of an inlet or a cable assembly.",
    },
];
