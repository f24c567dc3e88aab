//! Benches: the instruments, how they are linked, and which point each one serves.

use super::table::{
    ADDRESS, Choice, DATE, Key, NAME, POINT, RATIO, RESISTANCE, Record, Rest, Shape, TEMPERATURE, Want, Word,
};

/// `pilotage: bench/1`
pub static BENCH: Record = Record {
    name: "bench",
    describes: "A bench: the instruments, how they are linked, and which point each one serves.",
    keys: &[&[
        Key::need(
            "pilotage",
            Shape::Text,
            "bench/1",
            "Kind and form of this file; always its first key.",
        ),
        Key::need(
            "title",
            Shape::Text,
            "\"Mid bench, virtual\"",
            "What the bench is called.",
        ),
        Key::may(
            "stop_name",
            Shape::Text,
            "red button S1",
            "What the hard-wired stop is called here, for prompts. A bench that can energise must say it.",
        ),
        Key::may(
            "isolator_name",
            Shape::Text,
            "Q1",
            "What the isolator is called here, for prompts. A bench that can energise must say it.",
        ),
        Key::may(
            "supply",
            Shape::Map(&SUPPLY),
            "{protected_by: \"30 mA type B residual device F1\"}",
            "What protects the supply.",
        ),
        Key::may(
            "ambient",
            Shape::Formula(Want::literal(&TEMPERATURE)),
            "23 °C",
            "Temperature around the instruments.",
        ),
        Key::may(
            "dead_burden",
            Shape::Formula(Want::literal(&RESISTANCE)),
            "100 kΩ",
            "The known burden that is put across conductors to prove them dead. A bench that can energise must say it.",
        ),
        Key::may(
            "hand_held",
            Shape::Map(&HAND_HELD),
            "{meter: {title: \"Hand-held multimeter\", serial: H-0001}}",
            "Meters that a person reads, in the place of instruments and points: nothing of such a bench can be set or read by the \
             program, and the item lies there disconnected.",
        ),
        Key::may(
            "instruments",
            Shape::Map(&INSTRUMENTS),
            "{meter: {driver: bench_meter, link: virtual, serial: M-0001}}",
            "The instruments.",
        ),
        Key::may(
            "points",
            Shape::Map(&POINTS),
            "{pilot.voltage: {by: meter, function: dc_voltage, channel: \"131\"}}",
            "Which instrument serves which point.",
        ),
    ]],
    rest: None,
    rules: &[
        super::table::Rule::OneOf(&["instruments", "hand_held"]),
        super::table::Rule::Needs("instruments", "points"),
        super::table::Rule::Needs("points", "instruments"),
    ],
};

static HAND_HELD: Record = Record {
    name: "hand_held",
    describes: "Meters that a person reads, by their names.",
    keys: &[],
    rest: Some(Rest {
        key: &NAME,
        describes: "The meter's name within the bench.",
        value: Shape::Map(&HAND_METER),
        at_least: 1,
        at_most: 20,
    }),
    rules: &[],
};

static HAND_METER: Record = Record {
    name: "hand_meter",
    describes: "One meter that a person reads.",
    keys: &[&[
        Key::need(
            "title",
            Shape::Text,
            "\"Hand-held multimeter, 6000 counts\"",
            "What it is.",
        ),
        Key::need(
            "serial",
            Shape::Text,
            "H-0001",
            "Serial number that a person must find on it.",
        ),
        Key::may(
            "calibrated_until",
            Shape::Form(&DATE),
            "2027-06-30",
            "Last day of its calibration.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static SUPPLY: Record = Record {
    name: "bench_supply",
    describes: "What protects the supply of the bench.",
    keys: &[&[Key::need(
        "protected_by",
        Shape::Text,
        "\"30 mA type B residual device F1\"",
        "The protective device, by its name here.",
    )]],
    rest: None,
    rules: &[],
};

static INSTRUMENTS: Record = Record {
    name: "instruments",
    describes: "The instruments by their names.",
    keys: &[],
    rest: Some(Rest {
        key: &NAME,
        describes: "The instrument's name within the bench.",
        value: Shape::Map(&INSTRUMENT),
        at_least: 1,
        at_most: 100,
    }),
    rules: &[],
};

static INSTRUMENT: Record = Record {
    name: "instrument",
    describes: "One instrument.",
    keys: &[&[
        Key::need(
            "driver",
            Shape::Form(&NAME),
            "bench_meter",
            "Name of its driver file, or of the file of frames behind an interface to a bus.",
        ),
        Key::need("link", Shape::Either(&LINK), "virtual", "How bytes reach it."),
        Key::need(
            "serial",
            Shape::Text,
            "M-0001",
            "Serial number that it must give for *IDN?.",
        ),
        Key::may(
            "calibrated_until",
            Shape::Form(&DATE),
            "2027-06-30",
            "Last day of its calibration.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static LINK: Choice = Choice {
    scalar: Some(&Shape::Word(&[Word {
        word: "virtual",
        means: "An instrument of the virtual bench, in memory.",
    }])),
    list: None,
    map: Some(&Shape::Map(&SOCKET)),
};

static SOCKET: Record = Record {
    name: "link",
    describes: "A link over a socket.",
    keys: &[&[
        Key::may(
            "tcp",
            Shape::Form(&ADDRESS),
            "\"127.0.0.1:5025\"",
            "Host and port of a TCP socket.",
        ),
        Key::may(
            "can",
            Shape::Form(&NAME),
            "vcan0",
            "An interface to a CAN bus, whose driver is a file of frames: `virtual` in memory, or the name that the system gives to it.",
        ),
    ]],
    rest: None,
    rules: &[super::table::Rule::OneKey],
};

static POINTS: Record = Record {
    name: "points",
    describes: "Which instrument serves which point.",
    keys: &[],
    rest: Some(Rest {
        key: &POINT,
        describes: "The point, and who serves it.",
        value: Shape::Map(&SERVICE),
        at_least: 1,
        at_most: 500,
    }),
    rules: &[],
};

static SERVICE: Record = Record {
    name: "service",
    describes: "Who serves a point, and how it is connected.",
    keys: &[&[
        Key::need("by", Shape::Form(&NAME), "meter", "The instrument's name."),
        Key::need(
            "function",
            Shape::Form(&NAME),
            "ac_voltage",
            "Name of a function of its driver.",
        ),
        Key::may(
            "channel",
            Shape::Text,
            "\"101\"",
            "Put into the driver's messages for {channel}.",
        ),
        Key::may(
            "connected",
            Shape::Word(CONNECTIONS),
            "differential",
            "How it is connected; mains points need differential or isolated.",
        ),
        Key::may(
            "ratio",
            Shape::Formula(Want::literal(&RATIO)),
            "100",
            "Ratio of a probe or transformer: value at the point divided by value at the instrument.",
        ),
        Key::may(
            "ratio_standard",
            Shape::Formula(Want::literal(&RATIO)),
            "0.5 %",
            "Relative standard uncertainty of the ratio.",
        ),
    ]],
    rest: None,
    rules: &[super::table::Rule::Needs("ratio_standard", "ratio")],
};

static CONNECTIONS: &[Word] = &[
    Word {
        word: "differential",
        means: "By a differential probe or input.",
    },
    Word {
        word: "isolated",
        means: "By an isolated channel or transformer.",
    },
    Word {
        word: "direct",
        means: "Directly; not for mains.",
    },
];
