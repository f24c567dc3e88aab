//! Items: the thing under test, by its nameplate.

use super::common::ITEM_KINDS;
use super::rules;
use super::table::{
    AREA, CAPACITANCE, CURRENT, FREQUENCY, Key, LENGTH, NAME, RATIO, RESISTANCE, Record, Rest, Rule, Shape,
    TEMPERATURE, VOLTAGE, Want, Word, Yields,
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
    rules: &[Rule::ByKind],
};

/// The nameplate. Amounts become `$name`, words `$name_is_word`.
pub static NAMEPLATE: Record = Record {
    name: "nameplate",
    describes: "What the item claims.",
    keys: &[&[
        Key::may(
            "rated_current",
            Shape::Formula(Want::literal(&CURRENT)),
            "32 A",
            "Rated current.",
        ),
        Key::may(
            "supply_voltage",
            Shape::Formula(Want::literal(&VOLTAGE)),
            "230 V",
            "Nominal supply voltage, line to neutral or line to line of a split phase.",
        ),
        Key::may(
            "supply_frequency",
            Shape::Formula(Want::literal(&FREQUENCY)),
            "50 Hz",
            "Nominal supply frequency.",
        ),
        Key::may("phases", Shape::Word(PHASES), "single", "How it is supplied."),
        Key::may(
            "connector",
            Shape::Word(CONNECTORS),
            "type_2",
            "Vehicle connector (IEC 62196-2 / SAE J1772).",
        ),
        Key::may(
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
        Key::may(
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
        Key::may(
            "insulation_voltage",
            Shape::Formula(Want::literal(&VOLTAGE)),
            "500 V",
            "Rated insulation voltage: the DC test voltage that contacts may be given at most.",
        ),
        Key::may(
            "plug",
            Shape::Word(CONNECTORS),
            "type_2",
            "Plug at the wall's end of a detachable cable.",
        ),
        Key::may("lock", Shape::Word(LOCKS), "motor", "Lock of an inlet."),
        Key::may(
            "sensors",
            Shape::Word(SENSORS),
            "pt1000",
            "Temperature sensors at the contacts of an inlet.",
        ),
        Key::may(
            "dc_voltage",
            Shape::Formula(Want::literal(&VOLTAGE)),
            "420 V",
            "Highest voltage of the DC output of a charger.",
        ),
        Key::may(
            "dc_current",
            Shape::Formula(Want::literal(&CURRENT)),
            "18 A",
            "Rated current of the DC output of a charger.",
        ),
        Key::may(
            "low_voltage",
            Shape::Formula(Want::literal(&VOLTAGE)),
            "12 V",
            "Nominal voltage of the low-voltage supply of a charger.",
        ),
        Key::may(
            "efficiency",
            Shape::Formula(Want::literal(&RATIO)),
            "94 %",
            "Efficiency of a charger at its rated power, by its type data.",
        ),
        Key::may(
            "filter_capacitance",
            Shape::Formula(Want::literal(&CAPACITANCE)),
            "2.2 µF",
            "Capacitance between the AC pins of a charger, by its type data.",
        ),
        Key::may(
            "output_capacitance",
            Shape::Formula(Want::literal(&CAPACITANCE)),
            "30 µF",
            "Capacitance of the DC output of a charger, by its type data.",
        ),
        Key::may(
            "output_series_resistance",
            Shape::Formula(Want::literal(&RESISTANCE)),
            "8 mΩ",
            "Resistance in series with that capacitance at 1 kHz when new, by the type data.",
        ),
        Key::may(
            "coolant_temperature",
            Shape::Formula(Want::literal(&TEMPERATURE)),
            "50 °C",
            "Highest temperature of the coolant at which a charger gives its rated power.",
        ),
    ]],
    rest: None,
    rules: &[],
};

/// What the nameplate of a kind must say, and what it may say besides.
#[derive(Debug)]
pub struct PlateOf {
    /// The word of the kind.
    pub kind: &'static str,
    /// Names that must be there.
    pub needs: &'static [&'static str],
    /// Names that may be there.
    pub may: &'static [&'static str],
}

const MAINS_ITEM: &[&str] = &[
    "rated_current",
    "supply_voltage",
    "supply_frequency",
    "phases",
    "connector",
    "cable",
    "earthing",
];

/// The nameplates. Kinds that cannot be fitted yet are read as wall units are.
pub static PLATES: &[PlateOf] = &[
    PlateOf {
        kind: "wall_unit",
        needs: MAINS_ITEM,
        may: &[
            "cable_length",
            "cable_area",
            "protection_class",
            "ventilation",
            "residual_device",
        ],
    },
    PlateOf {
        kind: "portable_cord",
        needs: MAINS_ITEM,
        may: &[
            "cable_length",
            "cable_area",
            "protection_class",
            "ventilation",
            "residual_device",
        ],
    },
    PlateOf {
        kind: "onboard_charger",
        needs: &[
            "rated_current",
            "supply_voltage",
            "supply_frequency",
            "phases",
            "connector",
            "dc_voltage",
            "dc_current",
        ],
        may: &[
            "earthing",
            "protection_class",
            "ventilation",
            "low_voltage",
            "efficiency",
            "insulation_voltage",
            "filter_capacitance",
            "output_capacitance",
            "output_series_resistance",
            "coolant_temperature",
        ],
    },
    PlateOf {
        kind: "inlet",
        needs: &["rated_current", "insulation_voltage", "phases", "connector"],
        may: &["lock", "sensors"],
    },
    PlateOf {
        kind: "cable_assembly",
        needs: &[
            "rated_current",
            "insulation_voltage",
            "phases",
            "connector",
            "plug",
            "cable_length",
            "cable_area",
        ],
        may: &[],
    },
];

/// The nameplate of a kind by its word.
pub fn plate_of(kind: &str) -> Option<&'static PlateOf> {
    PLATES.iter().find(|plate| plate.kind == kind)
}

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

static LOCKS: &[Word] = &[
    Word {
        word: "none",
        means: "None.",
    },
    Word {
        word: "motor",
        means: "Driven by a motor of 12 V.",
    },
];

static SENSORS: &[Word] = &[
    Word {
        word: "none",
        means: "None.",
    },
    Word {
        word: "pt1000",
        means: "Two platinum resistors of 1 kΩ at 0 °C (IEC 60751).",
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

/// The nameplate names of a kind, in order; all where the kind has no nameplate of its own.
pub fn nameplate_names_of(kind: &str) -> impl Iterator<Item = &'static str> {
    let plate = plate_of(kind);
    nameplate_names()
        .filter(move |name| plate.is_none_or(|plate| plate.needs.contains(name) || plate.may.contains(name)))
}
