//! `pictures`: what a report draws of a step. Names only: a picture judges nothing and reads nothing.

use super::table::{Choice, Key, NAME, POINT, Record, Rest, Shape, Variants, Want, Word};

/// One entry of `pictures`.
pub static PICTURE: Variants = Variants {
    name: "picture",
    describes: "A picture of the step, told by its first key.",
    forms: &[
        ("map", &MAP),
        ("ladder", &LADDER),
        ("bars", &BARS),
        ("course", &COURSE),
        ("wave", &WAVE),
    ],
};

static ONE_NAME: Shape = Shape::Form(&NAME);
static ONE_POINT: Shape = Shape::Form(&POINT);

static NAMES: Choice = Choice {
    scalar: Some(&ONE_NAME),
    list: Some(&Shape::List(&ONE_NAME, 1, 60)),
    map: None,
};

static POINTS: Choice = Choice {
    scalar: Some(&ONE_POINT),
    list: Some(&Shape::List(&ONE_POINT, 1, 16)),
    map: None,
};

/// Title and words for the axes.
const WORDS: &[Key] = &[
    Key::may(
        "title",
        Shape::Text,
        "Efficiency over load and supply voltage",
        "What it shows; the names where absent.",
    ),
    Key::may(
        "says",
        Shape::Map(&SAYS),
        "{u_line: \"supply voltage\"}",
        "Words for names, printed at the axes in their place; those for `rule` stand beside its line.",
    ),
];

static SAYS: Record = Record {
    name: "says",
    describes: "Names or points with the words that are printed in their place.",
    keys: &[],
    rest: Some(Rest {
        key: &POINT,
        describes: "A name or point of the picture, and its words.",
        value: Shape::Text,
        at_least: 1,
        at_most: 60,
    }),
    rules: &[],
};

const ACROSS: Key = Key::need(
    "across",
    Shape::Form(&NAME),
    "duty",
    "The name of `for_each` or of a sweep of this step whose values run to the right.",
);

static MAP: Record = Record {
    name: "map",
    describes: "A field of cells: one reading over two names whose values the step goes through. Of a third name each value has a field of its own.",
    keys: &[
        &[
            Key::need("map", Shape::Form(&NAME), "efficiency", "The reading in the cells."),
            ACROSS,
            Key::need(
                "up",
                Shape::Form(&NAME),
                "u_line",
                "The other name, whose values run upwards.",
            ),
        ],
        WORDS,
    ],
    rest: None,
    rules: &[],
};

static LADDER: Record = Record {
    name: "ladder",
    describes: "Readings over one name, with their uncertainty, the bounds that judged them as an area, and a rule as a line.",
    keys: &[
        &[
            Key::need("ladder", Shape::Either(&NAMES), "i_drawn", "The reading, or several."),
            ACROSS,
            Key::may(
                "rule",
                Shape::Formula(Want::ANY),
                "current_for($duty)",
                "A line to compare with, as an expression over the name of `across`. It judges nothing.",
            ),
        ],
        WORDS,
    ],
    rest: None,
    rules: &[],
};

static BARS: Record = Record {
    name: "bars",
    describes: "A bar for each reading, or for each value of a name, with the bounds that judged them as marks.",
    keys: &[
        &[
            Key::need(
                "bars",
                Shape::Either(&NAMES),
                "[h_2, h_3]",
                "The readings, or one over `across`.",
            ),
            Key::may(
                "across",
                Shape::Form(&NAME),
                "n",
                "The name of `for_each` or of a sweep of this step: a bar for each of its values.",
            ),
            Key::may(
                "along",
                Shape::Text,
                "harmonic order",
                "What the bars are counted by, printed below them.",
            ),
            Key::may(
                "scale",
                Shape::Word(SCALES),
                "logarithmic",
                "How lengths are drawn; linear where absent.",
            ),
        ],
        WORDS,
    ],
    rest: None,
    rules: &[],
};

static SCALES: &[Word] = &[
    Word {
        word: "linear",
        means: "Equal differences are equal lengths.",
    },
    Word {
        word: "logarithmic",
        means: "Equal ratios are equal lengths.",
    },
];

static COURSE: Record = Record {
    name: "course",
    describes: "Readings over the time of the step. Each is taken again and again: by `hold` or `settle` with `read`, in a sweep, or in every pass.",
    keys: &[
        &[Key::need(
            "course",
            Shape::Either(&NAMES),
            "[t_soak, i_soak]",
            "The readings, below each other where their units differ.",
        )],
        WORDS,
    ],
    rest: None,
    rules: &[],
};

static WAVE: Record = Record {
    name: "wave",
    describes: "Captured waves over their time, with the moments that were found in them. Of several passes the first that failed is drawn, else the first.",
    keys: &[
        &[
            Key::need(
                "wave",
                Shape::Either(&POINTS),
                "[pilot, \"ac_output[L-N]\"]",
                "Points that the step captures together.",
            ),
            Key::may(
                "marks",
                Shape::List(&ONE_NAME, 1, 20),
                "[open_delay]",
                "Readings of `find` whose moments are marked; what happens in the waves where absent.",
            ),
        ],
        WORDS,
    ],
    rest: None,
    rules: &[],
};
