//! What `find` looks for in captured voltage and current.

use super::find::EVENT;
use super::table::{FREQUENCY, Key, POINT, RATIO, Record, Rule, Shape, Want, Word};

const LINE: Key = Key::need(
    "line",
    Shape::Form(&POINT),
    "\"ac_output[L-N]\"",
    "The captured voltage whose whole cycles count.",
);

const GROUPING: Key = Key::need(
    "grouping",
    Shape::Word(GROUPINGS),
    "group",
    "What counts as a harmonic (IEC 61000-4-7).",
);

static PAIR: Record = Record {
    name: "voltage_and_current",
    describes: "Captured voltage and current of one side.",
    keys: &[&[
        Key::need(
            "voltage",
            Shape::Form(&POINT),
            "\"ac_output[L-N]\"",
            "The captured voltage.",
        ),
        Key::need(
            "current",
            Shape::Form(&POINT),
            "\"ac_output[L]\"",
            "The captured current.",
        ),
    ]],
    rest: None,
    rules: &[],
};

pub(super) static FIND_POWER: Record = Record {
    name: "find_power",
    describes: "Power, power factor and what goes with them, over whole cycles of the voltage (IEEE 1459).",
    keys: &[&[
        Key::need(
            "power",
            Shape::Map(&PAIR),
            "{voltage: \"ac_output[L-N]\", current: \"ac_output[L]\"}",
            "The pair.",
        ),
        Key::need("take", Shape::Word(POWER_TAKES), "active", "Which value."),
    ]],
    rest: None,
    rules: &[],
};

pub(super) static FIND_EFFICIENCY: Record = Record {
    name: "find_efficiency",
    describes: "Active power of the output over that of the input, both over the same whole cycles.",
    keys: &[&[Key::need(
        "efficiency",
        Shape::Map(&SIDES),
        "{output: {voltage: dc_output, current: dc_output.current}, input: {voltage: \"ac_input[L-N]\", current: \"ac_input[L].current\"}}",
        "Both sides. The cycles are those of the input's voltage, or of the output's where the input is a direct voltage.",
    )]],
    rest: None,
    rules: &[],
};

static SIDES: Record = Record {
    name: "two_sides",
    describes: "Output and input.",
    keys: &[&[
        Key::need(
            "output",
            Shape::Map(&PAIR),
            "{voltage: dc_output, current: dc_output.current}",
            "What comes out.",
        ),
        Key::need(
            "input",
            Shape::Map(&PAIR),
            "{voltage: \"ac_input[L-N]\", current: \"ac_input[L].current\"}",
            "What goes in.",
        ),
    ]],
    rest: None,
    rules: &[],
};

pub(super) static FIND_HARMONIC: Record = Record {
    name: "find_harmonic",
    describes: "Rms of one harmonic, orders 1 to 40, over windows of 10 cycles at 50 Hz and 12 at 60 Hz (IEC 61000-4-7).",
    keys: &[&[
        Key::need(
            "harmonic",
            Shape::Form(&POINT),
            "\"ac_output[L]\"",
            "The captured channel.",
        ),
        LINE,
        Key::need(
            "order",
            Shape::Formula(Want::of(&RATIO)),
            "3",
            "The order; 1 is the fundamental.",
        ),
        GROUPING,
    ]],
    rest: None,
    rules: &[],
};

pub(super) static FIND_DISTORTION: Record = Record {
    name: "find_distortion",
    describes: "Harmonics taken together, over the same windows.",
    keys: &[&[
        Key::need(
            "distortion",
            Shape::Form(&POINT),
            "\"ac_output[L]\"",
            "The captured channel.",
        ),
        LINE,
        Key::need("take", Shape::Word(DISTORTION_TAKES), "thd", "Which sum."),
        GROUPING,
    ]],
    rest: None,
    rules: &[],
};

pub(super) static FIND_RIPPLE: Record = Record {
    name: "find_ripple",
    describes: "Ripple within a bandwidth (a low pass of first order, −3 dB there), or at twice the frequency of the line alone.",
    keys: &[&[
        Key::need("ripple", Shape::Form(&POINT), "dc_output", "The captured channel."),
        Key::may(
            "bandwidth",
            Shape::Formula(Want::of(&FREQUENCY)),
            "20 kHz",
            "Where the low pass is at −3 dB; at most a tenth of the rate.",
        ),
        Key::may(
            "line",
            Shape::Form(&POINT),
            "\"ac_input[L-N]\"",
            "The captured voltage of the line, for the part at twice its frequency.",
        ),
        Key::need("take", Shape::Word(RIPPLE_TAKES), "span", "Which value."),
    ]],
    rest: None,
    rules: &[Rule::OneOf(&["bandwidth", "line"])],
};

pub(super) static FIND_INRUSH: Record = Record {
    name: "find_inrush",
    describes: "A surge of current, in either direction.",
    keys: &[&[
        Key::need(
            "inrush",
            Shape::Form(&POINT),
            "\"ac_output[L]\"",
            "The captured current.",
        ),
        Key::need("take", Shape::Word(INRUSH_TAKES), "peak", "Which value."),
        Key::may(
            "above",
            Shape::Formula(Want::ANY),
            "30 A",
            "Only what lies above this level counts; all of it where absent.",
        ),
    ]],
    rest: None,
    rules: &[],
};

pub(super) static FIND_RESPONSE: Record = Record {
    name: "find_response",
    describes: "How a signal comes to a new value: the value is the mean over the last tenth behind the change.",
    keys: &[&[
        Key::need(
            "response",
            Shape::Form(&POINT),
            "\"ac_output[L].envelope\"",
            "The captured channel, or with a last part `envelope` the amplitude of an alternating one.",
        ),
        Key::need(
            "change",
            Shape::Map(&EVENT),
            "{pilot.high: {rises_through: 7.5 V}}",
            "What it responds to.",
        ),
        Key::need("take", Shape::Word(RESPONSE_TAKES), "time", "Which value."),
        Key::need(
            "band",
            Shape::Formula(Want::of(&RATIO)),
            "5 %",
            "Half width of the band about the new value, as a share of it.",
        ),
    ]],
    rest: None,
    rules: &[],
};

macro_rules! words {
    ($($name:ident { $($word:literal $means:literal)* })*) => {
        $(static $name: &[Word] = &[$(Word { word: $word, means: $means }),*];)*
    };
}

words! {
    POWER_TAKES {
        "active" "Active power P, in W."
        "apparent" "Apparent power S, rms voltage times rms current, in VA."
        "non_active" "Non-active power N, the root of S² − P², in var."
        "factor" "Power factor P/S."
        "displacement" "Displacement factor: the power factor of the fundamental, cos φ₁."
        "angle" "Displacement φ₁ in degrees, positive where the current lags."
        "frequency" "Frequency of the line."
        "voltage" "Rms of the voltage over whole cycles."
        "current" "Rms of the current over whole cycles."
        "crest" "Crest factor of the current: peak over rms."
    }
    DISTORTION_TAKES {
        "thd" "Total harmonic distortion: orders 2 to 40 over the fundamental."
        "total" "Total harmonic current THC: orders 2 to 40 (IEC 61000-3-12)."
        "partial_weighted" "Partial weighted harmonic current PWHC: orders 14 to 40, each square times its order (IEC 61000-3-12)."
        "partial_odd" "Partial odd harmonic current: odd orders 21 to 39 (IEC 61000-3-2)."
    }
    RIPPLE_TAKES {
        "span" "Peak to peak."
        "rms" "Rms without the mean."
    }
    INRUSH_TAKES {
        "peak" "Largest magnitude."
        "time_above" "Time in all above the level."
        "square_time" "I²t: the square over the time above the level."
    }
    RESPONSE_TAKES {
        "time" "Time from the change until the signal stays within the band."
        "overshoot" "How far it went above both values."
        "undershoot" "How far it went below both values."
        "before" "Mean before the change."
        "after" "Mean over the last tenth."
    }
    GROUPINGS {
        "line" "The line at the harmonic's own frequency."
        "subgroup" "That line and its two neighbours (5.6)."
        "group" "All lines half-way to the neighbouring harmonics (5.5.1)."
    }
}
