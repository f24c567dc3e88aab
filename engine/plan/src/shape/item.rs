//! Items: the thing under test, by its nameplate.

use super::common::ITEM_KINDS;
use super::rules;
use super::table::{
    AREA, CURRENT, FREQUENCY, Key, LENGTH, NAME, Record, Rest, Rule, Shape, VOLTAGE, Want, Word, Yields,
};
use pilotage_core::Dimension;

/// `pilotage: item/1`
pub static ITEM: Record = Record {
    name: "item",
    describes: "An item: the thing under test, by its nameplate.",
    keys: &[&[
        Key::need(
            "pilotage",
            Shape::Text,
            "item/1",
            "Kind and form of this file; always its first key.",
        ),
        Key::need(
            "title",
            Shape::Text,
            "\"Wall unit, 32 A, single phase, tethered\"",
            "What the item is called.",
        ),
        Key::need("item", Shape::Word(ITEM_KINDS), "wall_unit", "The kind of item."),
        Key::need("serial", Shape::Text, "WU-DEMO-0032", "Its serial number."),
        Key::need(
            "nameplate",
            Shape::Map(&NAMEPLATE),
            "{rated_current: 32 A, supply_voltage: 230 V, supply_frequency: 50 Hz, phases: single, connector: type_2, cable: tethered, earthing: tn}",
            "What the item claims.",
        ),
        Key::may(
            "virtual",
            Shape::Map(&VIRTUAL),
            "{}",
            "Parameters of the virtual item, where they differ from a healthy one, and what the virtual person answers.",
        ),
    ]],
    rest: None,
    rules: &[],
};

/// The nameplate. Amounts become `$name`, words `$name_is_word`.
pub static NAMEPLATE: Record = Record {
    name: "nameplate",
    describes: "What the item claims.",
    keys: &[&[
        Key::need(
            "rated_current",
            Shape::Formula(Want::literal(&CURRENT)),
            "32 A",
            "Rated current.",
        ),
        Key::need(
            "supply_voltage",
            Shape::Formula(Want::literal(&VOLTAGE)),
            "230 V",
            "Nominal supply voltage, line to neutral or line to line of a split phase.",
        ),
        Key::need(
            "supply_frequency",
            Shape::Formula(Want::literal(&FREQUENCY)),
            "50 Hz",
            "Nominal supply frequency.",
        ),
        Key::need("phases", Shape::Word(PHASES), "single", "How it is supplied."),
        Key::need(
            "connector",
            Shape::Word(CONNECTORS),
            "type_2",
            "Vehicle connector (IEC 62196-2 / SAE J1772).",
        ),
        Key::need(
            "cable",
            Shape::Word(CABLES),
            "tethered",
            "Whether its cable is fixed to it.",
        ),
        Key::may(
            "cable_length",
            Shape::Formula(Want::literal(&LENGTH)),
            "5 m",
            "Length of a tethered cable.",
        ),
        Key::may(
            "cable_area",
            Shape::Formula(Want::literal(&AREA)),
            "6 mm2",
            "Area of one conductor of a tethered cable.",
        ),
        Key::need(
            "earthing",
            Shape::Word(EARTHINGS),
            "tn",
            "Earthing of the supply (IEC 60364-1).",
        ),
        Key::may(
            "protection_class",
            Shape::Word(CLASSES),
            "class_1",
            "Class of protection (IEC 61140).",
        ),
        Key::may(
            "ventilation",
            Shape::Word(VENTILATIONS),
            "none",
            "Whether it can ventilate, so that state D may charge.",
        ),
        Key::may(
            "residual_device",
            Shape::Text,
            "type A and 6 mA DC",
            "What watches the residual current, in free words.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static PHASES: &[Word] = &[
    Word {
        word: "single",
        means: "One line and neutral.",
    },
    Word {
        word: "split",
        means: "Two lines of a split phase.",
    },
    Word {
        word: "three",
        means: "Three lines and neutral.",
    },
];

static CONNECTORS: &[Word] = &[
    Word {
        word: "type_1",
        means: "Type 1.",
    },
    Word {
        word: "type_2",
        means: "Type 2.",
    },
];

static CABLES: &[Word] = &[
    Word {
        word: "tethered",
        means: "The cable is fixed to it.",
    },
    Word {
        word: "socket",
        means: "It has a socket for a detachable cable.",
    },
];

static EARTHINGS: &[Word] = &[
    Word {
        word: "tn",
        means: "TN.",
    },
    Word {
        word: "tt",
        means: "TT.",
    },
    Word {
        word: "it",
        means: "IT.",
    },
];

static CLASSES: &[Word] = &[
    Word {
        word: "class_1",
        means: "Class I: protective earth.",
    },
    Word {
        word: "class_2",
        means: "Class II: double or reinforced insulation.",
    },
];

static VENTILATIONS: &[Word] = &[
    Word {
        word: "none",
        means: "None.",
    },
    Word {
        word: "present",
        means: "Present.",
    },
];

/// Parameters of a virtual item and answers of the virtual person, whose names begin with `person_`.
pub static VIRTUAL: Record = Record {
    name: "virtual_parameters",
    describes: "Parameters of the virtual item, and answers of the virtual person (`person_…`), who may answer in words.",
    keys: &[],
    rest: Some(Rest {
        key: &NAME,
        describes: "A parameter and its value, or a question of a person and the answer.",
        value: Shape::WordOrAmount,
        at_least: 0,
        at_most: 500,
    }),
    rules: &[Rule::Check(
        "only a person answers in words",
        rules::words_are_a_persons,
    )],
};

/// The dimension of a nameplate amount; `None` for words and unknown names.
pub fn nameplate_dimension(name: &str) -> Option<Dimension> {
    match NAMEPLATE.key(name)?.shape {
        Shape::Formula(Want {
            yields: Yields::Of(measure),
            ..
        }) => Some(measure.dimension),
        _ => None,
    }
}

/// The words that a nameplate name may have; none for amounts, unknown names, and names with free words.
pub fn nameplate_words(name: &str) -> Vec<&'static str> {
    match NAMEPLATE.key(name).map(|k| &k.shape) {
        Some(Shape::Word(words)) => words.iter().map(|w| w.word).collect(),
        _ => Vec::new(),
    }
}

/// All nameplate names, in order.
pub fn nameplate_names() -> impl Iterator<Item = &'static str> {
    NAMEPLATE.all_keys().map(|k| k.name)
}
