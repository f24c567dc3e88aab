//! Questions to a person, and judging.

use super::common::{LIMIT_KEYS, SOURCE, TOLERANCE, TOLERANCE_WORDS};
use super::rules;
use super::table::{Choice, Key, NAME, Record, Rest, Rule, Shape, SourceRule, WORD, Want, Word};

/// `ask`
pub static ASK: Record = Record {
    name: "ask",
    describes: "Asks a person. Yes/no and words judge, and need their source; a quantity becomes a reading; an instruction is done or not.",
    keys: &[
        &[
            Key::need("prompt", Shape::Text, "\"Is the plate legible?\"", "The prompt."),
            Key::need("answer", Shape::Either(&ANSWER), "yes_no", "What kind of answer."),
            Key::may(
                "uncertainty",
                Shape::Formula(Want::DIFFERENCE),
                "0.5 A",
                "Expanded uncertainty (k = 2) of a value that is asked for, unless the person states one. Without either the \
                 answer counts as exact to half of its last digit.",
            ),
            Key::may("as", Shape::Form(&NAME), "plate_ok", "Name of the answer."),
            Key::may(
                "hands",
                Shape::Truth,
                "true",
                "Whether hands are wanted at the item: only while isolated.",
            ),
            Key::may(
                "does",
                Shape::Form(&NAME),
                "press_release",
                "What the virtual person does when asked, in one word of the virtual bench.",
            ),
        ],
        SOURCE,
    ],
    rest: None,
    rules: &[
        Rule::Check("a judging answer has its source", rules::answer_has_source),
        Rule::Check("only a value has an uncertainty", rules::uncertainty_is_of_a_value),
    ],
};

static ANSWER: Choice = Choice {
    scalar: Some(&Shape::Word(&[
        Word {
            word: "yes_no",
            means: "Yes or no; no fails.",
        },
        Word {
            word: "done",
            means: "An instruction: yes once it is done. On no nothing that the step judges behind it can be decided.",
        },
    ])),
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

/// `judge`
pub static JUDGE: Record = Record {
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
            Key::may(
                "unit",
                Shape::Unit,
                "mΩ",
                "The unit to print a computed value in; that of its first limit where absent.",
            ),
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
        Rule::Source(SourceRule {
            when: TOLERANCE_WORDS,
            inherited: false,
        }),
        Rule::Check("bounds agree", rules::bounds_agree),
        Rule::Check("bounds fit the unit", rules::bounds_fit_unit),
    ],
};
