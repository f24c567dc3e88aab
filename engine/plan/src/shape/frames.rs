//! Frames: which messages a charger and a bench send each other over CAN, and what their bits mean.

use super::frame_rules;
use super::table::{Key, NAME, RATIO, Record, Rest, Rule, Shape, TIME, WHOLE, WORD, Want, Word};

/// `pilotage: frames/1`
pub static FRAMES: Record = Record {
    name: "frames",
    describes: "Frames of a CAN bus: which are sent to the item and which come from it, and what their bits mean.",
    keys: &[&[
        Key::need(
            "pilotage",
            Shape::Text,
            "frames/1",
            "Kind and form of this file; always its first key.",
        ),
        Key::need(
            "name",
            Shape::Form(&NAME),
            "charger_demo",
            "Name by which benches refer to it, as the driver of an interface.",
        ),
        Key::need(
            "title",
            Shape::Text,
            "\"Frames of the demo charger\"",
            "Whose frames these are.",
        ),
        Key::need(
            "bit_rate",
            Shape::Count(10_000, 1_000_000),
            "500000",
            "Bits a second on the bus.",
        ),
        Key::may(
            "window",
            Shape::Formula(Want::literal(&TIME)),
            "5 s",
            "Time over which period, loss and jitter are worked out; 5 s where it is not said.",
        ),
        Key::may(
            "time_stamps",
            Shape::Formula(Want::literal(&TIME)),
            "100 µs",
            "Limit of error of the interface's time stamps; without it the uncertainty of a period is unknown.",
        ),
        Key::need(
            "frames",
            Shape::Map(&ALL),
            "{status: {id: 0x1a0, direction: from_item, period: 100 ms, length: 2, signals: {voltage: {start: 0, length: 10, factor: 0.5, unit: V}}}}",
            "The frames.",
        ),
    ]],
    rest: None,
    rules: &[Rule::Check("times that can be", frame_rules::times)],
};

static ALL: Record = Record {
    name: "all_frames",
    describes: "The frames by their names.",
    keys: &[],
    rest: Some(Rest {
        key: &NAME,
        describes: "The frame's name, and the frame.",
        value: Shape::Map(&FRAME),
        at_least: 1,
        at_most: 100,
    }),
    rules: &[Rule::Check("each identifier stands once", frame_rules::identifiers)],
};

static FRAME: Record = Record {
    name: "frame",
    describes: "One kind of frame.",
    keys: &[&[
        Key::need(
            "id",
            Shape::Form(&super::table::IDENTIFIER),
            "0x1a0",
            "Its identifier, in hexadecimal.",
        ),
        Key::may(
            "extended",
            Shape::Truth,
            "true",
            "Whether the identifier has 29 bits; else it has 11.",
        ),
        Key::need("direction", Shape::Word(DIRECTIONS), "from_item", "Who sends it."),
        Key::need(
            "period",
            Shape::Formula(Want::literal(&TIME)),
            "100 ms",
            "How far apart two of them are.",
        ),
        Key::need("length", Shape::Count(1, 8), "8", "Bytes of data."),
        Key::need(
            "signals",
            Shape::Map(&SIGNALS),
            "{voltage: {start: 0, length: 10, factor: 0.5, unit: V}}",
            "What its bits mean.",
        ),
        Key::may(
            "counter",
            Shape::Map(&COUNTER),
            "{start: 48, length: 4, modulus: 15}",
            "A counter that each frame carries on by one.",
        ),
        Key::may(
            "checksum",
            Shape::Map(&CHECKSUM),
            "{kind: crc8_sae_j1850, byte: 7}",
            "A checksum over all other bytes.",
        ),
        Key::may(
            "abandoned",
            Shape::Map(&ABANDONED),
            "{enable: \"off\"}",
            "What it says from then on where the program that sends it shows no life for 2 s; without it nothing is sent any more.",
        ),
    ]],
    rest: None,
    rules: &[
        Rule::Check("times that can be", frame_rules::times),
        Rule::Check("bits lie in the frame, each used once", frame_rules::bits),
        Rule::Check("abandoned, it says what it can", frame_rules::abandoned),
    ],
};

static ABANDONED: Record = Record {
    name: "abandoned",
    describes: "Signals of a frame that is abandoned, with their words: what makes the item stop. All others stay as they were.",
    keys: &[],
    rest: Some(Rest {
        key: &NAME,
        describes: "A signal of the frame, and its word.",
        value: Shape::Form(&WORD),
        at_least: 1,
        at_most: 64,
    }),
    rules: &[],
};

static SIGNALS: Record = Record {
    name: "signals",
    describes: "What the bits of a frame mean, by the names of the signals.",
    keys: &[],
    rest: Some(Rest {
        key: &NAME,
        describes: "The signal's name, and where it lies.",
        value: Shape::Map(&SIGNAL),
        at_least: 1,
        at_most: 64,
    }),
    rules: &[Rule::Check("names are free", frame_rules::names)],
};

/// Where a number lies among the bits.
static BITS: &[Key] = &[
    Key::need(
        "start",
        Shape::Count(0, 63),
        "8",
        "Number of its lowest bit, or of its highest where the order is `big`: 8 times the byte from 0, plus the bit within it, 0 the least.",
    ),
    Key::need("length", Shape::Count(1, 52), "12", "How many bits."),
    Key::may(
        "order",
        Shape::Word(ORDERS),
        "little",
        "Which byte comes first; `little` where it is not said.",
    ),
];

static SIGNAL: Record = Record {
    name: "signal",
    describes: "One signal: an amount with its unit, or words.",
    keys: &[
        BITS,
        &[
            Key::may(
                "signed",
                Shape::Truth,
                "true",
                "Whether the raw number is in two's complement.",
            ),
            Key::may(
                "factor",
                Shape::Factor,
                "0.25",
                "Value of one step of the raw number, in the unit; 1 where it is not said.",
            ),
            Key::may(
                "offset",
                Shape::Formula(Want::literal(&RATIO)),
                "-40",
                "Value of the raw number 0, in the unit; 0 where it is not said.",
            ),
            Key::may("unit", Shape::Unit, "V", "Unit of the value."),
            Key::may(
                "words",
                Shape::Map(&WORDS),
                "{0: \"off\", 1: \"on\"}",
                "Raw numbers and the words that they stand for.",
            ),
        ],
    ],
    rest: None,
    rules: &[
        Rule::OneOf(&["unit", "words"]),
        Rule::Needs("factor", "unit"),
        Rule::Needs("offset", "unit"),
        Rule::Check("words fit the bits", frame_rules::words),
    ],
};

static WORDS: Record = Record {
    name: "signal_words",
    describes: "Raw numbers and the words that they stand for.",
    keys: &[],
    rest: Some(Rest {
        key: &WHOLE,
        describes: "A raw number, and its word.",
        value: Shape::Form(&WORD),
        at_least: 1,
        at_most: 256,
    }),
    rules: &[],
};

static COUNTER: Record = Record {
    name: "counter",
    describes: "A counter that each frame carries on by one.",
    keys: &[
        BITS,
        &[Key::may(
            "modulus",
            Shape::Count(2, 65_536),
            "15",
            "It counts from 0 to one less than this; as far as its bits go where it is not said.",
        )],
    ],
    rest: None,
    rules: &[Rule::Check("the count fits the bits", frame_rules::modulus)],
};

static CHECKSUM: Record = Record {
    name: "checksum",
    describes: "A checksum over all other bytes of the frame.",
    keys: &[&[
        Key::need("kind", Shape::Word(CHECKSUMS), "crc8_sae_j1850", "How it is made."),
        Key::need("byte", Shape::Count(0, 7), "7", "In which byte it lies, from 0."),
        Key::may(
            "data_id",
            Shape::Count(0, 65_535),
            "4711",
            "A number of two bytes that is taken before those of the frame, the lower one first.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static DIRECTIONS: &[Word] = &[
    Word {
        word: "to_item",
        means: "The bench sends it.",
    },
    Word {
        word: "from_item",
        means: "The item sends it.",
    },
];

static ORDERS: &[Word] = &[
    Word {
        word: "little",
        means: "The lowest byte first.",
    },
    Word {
        word: "big",
        means: "The highest byte first.",
    },
];

static CHECKSUMS: &[Word] = &[
    Word {
        word: "crc8_sae_j1850",
        means: "CRC-8 with 0x1D, begins at 0xFF, inverted at the end.",
    },
    Word {
        word: "crc8_autosar",
        means: "CRC-8 with 0x2F, begins at 0xFF, inverted at the end.",
    },
    Word {
        word: "crc8_smbus",
        means: "CRC-8 with 0x07, begins at 0.",
    },
    Word {
        word: "xor",
        means: "All bytes combined by exclusive or.",
    },
    Word {
        word: "sum",
        means: "The lowest byte of the sum.",
    },
];
