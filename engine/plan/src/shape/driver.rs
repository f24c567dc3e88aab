//! Drivers: how one kind of instrument serves points in SCPI, with its accuracy.

use super::rules;
use super::table::{ANY_TEXT, FREQUENCY, Key, NAME, RATIO, Record, Rest, Rule, Shape, TIME, WORD, Want};

/// `pilotage: driver/1`
pub static DRIVER: Record = Record {
    name: "driver",
    describes: "A driver: how one kind of instrument serves points in SCPI, with its accuracy.",
    keys: &[&[
        Key::need(
            "pilotage",
            Shape::Text,
            "driver/1",
            "Kind and form of this file; always its first key.",
        ),
        Key::need(
            "name",
            Shape::Form(&NAME),
            "bench_meter",
            "Name by which benches refer to it.",
        ),
        Key::need(
            "title",
            Shape::Text,
            "\"Scanning digital multimeter\"",
            "What the kind of instrument is called.",
        ),
        Key::need("model", Shape::Text, "SCAN-DMM", "What field 2 of *IDN? must contain."),
        Key::need(
            "deadline",
            Shape::Formula(Want::literal(&TIME)),
            "2 s",
            "The latest for an ordinary exchange.",
        ),
        Key::need(
            "errors",
            Shape::Message(&[]),
            "\"SYSTem:ERRor?\"",
            "The query that empties the error queue.",
        ),
        Key::may(
            "errors_with_reading",
            Shape::Truth,
            "true",
            "Whether a reading and the query for errors may stand in one message; else errors are asked for after the act.",
        ),
        Key::may(
            "start",
            Shape::List(&PLAIN, 0, 50),
            "[\"*RST\", \"*CLS\"]",
            "Messages sent once after *IDN?.",
        ),
        Key::need(
            "functions",
            Shape::Map(&FUNCTIONS),
            "{temperature: {measure: {unit: °C, ask: \"MEASure:TEMPerature? (@{channel})\"}}}",
            "What the instrument can do.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static PLAIN: Shape = Shape::Message(&[]);
static CHANNEL: Shape = Shape::Message(&["channel"]);
static CHANNEL_VALUE: Shape = Shape::Message(&["channel", "value"]);
static CHANNEL_RATE: Shape = Shape::Message(&["channel", "rate", "points"]);

static FUNCTIONS: Record = Record {
    name: "functions",
    describes: "What the instrument can do, by name.",
    keys: &[],
    rest: Some(Rest {
        key: &NAME,
        describes: "A function's name, and what it does.",
        value: Shape::Map(&FUNCTION),
        at_least: 1,
        at_most: 500,
    }),
    rules: &[],
};

static FUNCTION: Record = Record {
    name: "function",
    describes: "What a function does: exactly one form.",
    keys: &[&[
        Key::may(
            "choose",
            Shape::Map(&CHOOSE),
            "{state_A: {send: [\"ROUTe:PILot A\"], ask: \"ROUTe:PILot?\", answer: A}}",
            "A selector: words, and how each is set and read back.",
        ),
        Key::may(
            "amount",
            Shape::Map(&AMOUNT),
            "{unit: A, between: [0 A, 40 A], send: [\"CURRent {value}\"], ask: \"CURRent?\", confirm_within: 10 mA}",
            "A set point: a number that is set and read back.",
        ),
        Key::may(
            "measure",
            Shape::Map(&MEASURE),
            "{unit: V, ask: \"MEASure:VOLTage:AC? (@{channel})\"}",
            "A number that can be asked for.",
        ),
        Key::may(
            "word",
            Shape::Map(&WORD_FORM),
            "{ask: \"DIGital:DATA? 1\", answers: {\"1\": closed, \"0\": open}}",
            "A word that can be asked for.",
        ),
        Key::may(
            "capture",
            Shape::Map(&CAPTURE),
            "{unit: V, arm: [\"ACQuire:SRATe {rate}\", \"ACQuire:POINts {points}\", INITiate], finished: \"STATus:OPERation:CONDition?\", scaling: \"TRACe:SCALing? (@{channel})\", fetch: \"TRACe:DATA? (@{channel})\", highest_rate: 20 MHz, most_points: 4000000, gain: 0.5 %, offset: 20 mV, time_base: 5e-6, delay: 20 ns}",
            "Samples of a waveform.",
        ),
    ]],
    rest: None,
    rules: &[Rule::OneKey],
};

static CHOOSE: Record = Record {
    name: "choose",
    describes: "The positions of a selector.",
    keys: &[],
    rest: Some(Rest {
        key: &WORD,
        describes: "The word, and how it is set and read back.",
        value: Shape::Map(&POSITION),
        at_least: 1,
        at_most: 100,
    }),
    rules: &[],
};

static POSITION: Record = Record {
    name: "position",
    describes: "One position of a selector.",
    keys: &[&[
        Key::need(
            "send",
            Shape::List(&CHANNEL, 1, 20),
            "[\"ROUTe:PILot A\"]",
            "What is sent.",
        ),
        Key::need(
            "ask",
            Shape::Message(&["channel"]),
            "\"ROUTe:PILot?\"",
            "The query that reads it back.",
        ),
        Key::need("answer", Shape::Text, "A", "The reply that confirms it."),
    ]],
    rest: None,
    rules: &[],
};

static END: Shape = Shape::Formula(Want::ANY_LITERAL);

static AMOUNT: Record = Record {
    name: "amount",
    describes: "A number that is set and read back.",
    keys: &[&[
        Key::need("unit", Shape::Unit, "A", "The unit of {value} and of the reply."),
        Key::need(
            "between",
            Shape::List(&END, 2, 2),
            "[0 A, 40 A]",
            "Lowest and highest value.",
        ),
        Key::need(
            "send",
            Shape::List(&CHANNEL_VALUE, 1, 20),
            "[\"CURRent {value}\"]",
            "What is sent; {value} stands for the number.",
        ),
        Key::need(
            "ask",
            Shape::Message(&["channel"]),
            "\"CURRent?\"",
            "The query that reads the set point back.",
        ),
        Key::need(
            "confirm_within",
            Shape::Formula(Want::LITERAL_DIFFERENCE),
            "10 mA",
            "Largest difference between set and read back.",
        ),
    ]],
    rest: None,
    rules: &[
        Rule::Check("{value} is sent", rules::value_is_sent),
        Rule::Check("bounds agree", rules::bounds_agree),
        Rule::Check("bounds fit the unit", rules::bounds_fit_unit),
        Rule::Check("the difference fits the unit", rules::amounts_fit_unit),
    ],
};

static MEASURE: Record = Record {
    name: "measure",
    describes: "A number that can be asked for.",
    keys: &[&[
        Key::need("unit", Shape::Unit, "V", "The unit of the reply."),
        Key::need(
            "ask",
            Shape::Message(&["channel"]),
            "\"MEASure:VOLTage:AC? (@{channel})\"",
            "The query.",
        ),
        Key::may(
            "deadline",
            Shape::Formula(Want::literal(&TIME)),
            "5 s",
            "The latest, where it differs from the driver's.",
        ),
        Key::may(
            "aperture",
            Shape::Formula(Want::literal(&TIME)),
            "200 ms",
            "Time over which the instrument averages before it replies.",
        ),
        Key::may(
            "accuracy",
            Shape::Map(&ACCURACY),
            "{of_reading: 0.06 %, of_range: 0.03 %, range: 750 V}",
            "Limits of error as its maker prints them; without them the uncertainty is unknown.",
        ),
    ]],
    rest: None,
    rules: &[Rule::Check("the accuracy fits the unit", rules::accuracy_fits_unit)],
};

static ACCURACY: Record = Record {
    name: "accuracy",
    describes: "Limits of error as makers print them: taken as rectangular (a / √3) unless a coverage factor is given.",
    keys: &[&[
        Key::may(
            "of_reading",
            Shape::Formula(Want::literal(&RATIO)),
            "0.06 %",
            "A share of the reading.",
        ),
        Key::may(
            "of_range",
            Shape::Formula(Want::literal(&RATIO)),
            "0.03 %",
            "A share of the range.",
        ),
        Key::may("range", Shape::Formula(Want::ANY_LITERAL), "750 V", "Full scale."),
        Key::may(
            "fixed",
            Shape::Formula(Want::LITERAL_DIFFERENCE),
            "2 mV",
            "A fixed limit of error.",
        ),
        Key::may(
            "resolution",
            Shape::Formula(Want::LITERAL_DIFFERENCE),
            "0.1 mV",
            "One digit; its half is a rectangular limit.",
        ),
        Key::may(
            "coverage",
            Shape::Factor,
            "2",
            "Factor k of the printed figures, where they are expanded uncertainties.",
        ),
    ]],
    rest: None,
    rules: &[
        Rule::SomeOf(&["of_reading", "of_range", "fixed", "resolution"]),
        Rule::Needs("of_range", "range"),
    ],
};

static WORD_FORM: Record = Record {
    name: "word_form",
    describes: "A word that can be asked for.",
    keys: &[&[
        Key::need("ask", Shape::Message(&["channel"]), "\"DIGital:DATA? 1\"", "The query."),
        Key::need(
            "answers",
            Shape::Map(&ANSWERS),
            "{\"1\": closed, \"0\": open}",
            "Replies and the words that they stand for.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static ANSWERS: Record = Record {
    name: "answers",
    describes: "Replies and the words that they stand for.",
    keys: &[],
    rest: Some(Rest {
        key: &ANY_TEXT,
        describes: "A reply, and its word.",
        value: Shape::Form(&WORD),
        at_least: 1,
        at_most: 100,
    }),
    rules: &[],
};

static CAPTURE: Record = Record {
    name: "capture_form",
    describes: "Samples of a waveform: definite-length blocks of 16-bit numbers.",
    keys: &[&[
        Key::need("unit", Shape::Unit, "V", "The unit of the samples after scaling."),
        Key::need(
            "arm",
            Shape::List(&CHANNEL_RATE, 1, 20),
            "[\"ACQuire:SRATe {rate}\", \"ACQuire:POINts {points}\", INITiate]",
            "Messages that set rate and number of points and arm it at once.",
        ),
        Key::need(
            "finished",
            Shape::Message(&["channel"]),
            "\"STATus:OPERation:CONDition?\"",
            "The query that tells whether the capture is complete.",
        ),
        Key::need(
            "scaling",
            Shape::Message(&["channel"]),
            "\"TRACe:SCALing? (@{channel})\"",
            "The query that answers offset and scale.",
        ),
        Key::need(
            "fetch",
            Shape::Message(&["channel"]),
            "\"TRACe:DATA? (@{channel})\"",
            "The query that answers the samples.",
        ),
        Key::need(
            "highest_rate",
            Shape::Formula(Want::literal(&FREQUENCY)),
            "20 MHz",
            "Most samples a second.",
        ),
        Key::need(
            "most_points",
            Shape::Count(1, 1_000_000_000),
            "4000000",
            "Most points of a channel.",
        ),
        Key::need(
            "gain",
            Shape::Formula(Want::literal(&RATIO)),
            "0.5 %",
            "Limit of error of the gain.",
        ),
        Key::need(
            "offset",
            Shape::Formula(Want::LITERAL_DIFFERENCE),
            "20 mV",
            "Limit of error of the offset.",
        ),
        Key::need(
            "time_base",
            Shape::Formula(Want::literal(&RATIO)),
            "5e-6",
            "Limit of error of the time base.",
        ),
        Key::need(
            "delay",
            Shape::Formula(Want::literal(&TIME)),
            "1 µs",
            "How much later or earlier than the common moment of sampling a channel may show what happened, with its probe or \
             transducer. Power and power factor rest on it.",
        ),
    ]],
    rest: None,
    rules: &[
        Rule::Check("rate and points are set", rules::capture_is_armed),
        Rule::Check("the offset fits the unit", rules::amounts_fit_unit),
    ],
};
