//! Limits: tolerances with their sources.

use super::common::{SOURCE, TOLERANCE, TOLERANCE_WORDS};
use super::rules;
use super::table::{Key, LIMIT_KEY, NAME, Record, Rest, Rule, Shape, SourceRule};

/// `pilotage: limits/1`
pub static LIMITS: Record = Record {
    name: "limits",
    describes: "A set of limits: tolerances with their sources.",
    keys: &[&[
        Key::need(
            "pilotage",
            Shape::Text,
            "limits/1",
            "Kind and form of this file; always its first key.",
        ),
        Key::need(
            "name",
            Shape::Form(&NAME),
            "iec_61851_1_2017",
            "Name by which the set is chosen.",
        ),
        Key::need(
            "title",
            Shape::Text,
            "IEC 61851-1, edition 2017, Annex A",
            "What the set is called.",
        ),
        Key::need(
            "standard",
            Shape::Text,
            "IEC 61851-1",
            "The document, for all limits that do not name another.",
        ),
        Key::need("edition", Shape::Text, "\"2017\"", "Its edition."),
        Key::need(
            "limits",
            Shape::Map(&LIMIT_MAP),
            "{pilot.frequency: {title: Frequency, unit: Hz, between: [980 Hz, 1020 Hz], clause: Annex A, status: read}}",
            "The limits.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static LIMIT_MAP: Record = Record {
    name: "limit_map",
    describes: "Keys and limits.",
    keys: &[],
    rest: Some(Rest {
        key: &LIMIT_KEY,
        describes: "The key that sequences name, and its limit.",
        value: Shape::Map(&LIMIT),
        at_least: 1,
        at_most: 5000,
    }),
    rules: &[],
};

static LIMIT: Record = Record {
    name: "limit",
    describes: "One limit: a tolerance and where it comes from.",
    keys: &[
        &[
            Key::need("title", Shape::Text, "Pilot high level in state B", "What is limited."),
            Key::need("unit", Shape::Unit, "V", "The unit to print in."),
        ],
        TOLERANCE,
        SOURCE,
        &[
            Key::may(
                "derivation",
                Shape::Text,
                "\"12 V · 2.74 / 3.74\"",
                "How it was calculated, for people.",
            ),
            Key::may(
                "note",
                Shape::Text,
                "\"exact bench load\"",
                "Anything else a reader must know.",
            ),
        ],
    ],
    rest: None,
    rules: &[
        Rule::OneOf(TOLERANCE_WORDS),
        Rule::Source(SourceRule {
            when: &[],
            inherited: true,
        }),
        Rule::Check("bounds agree", rules::bounds_agree),
        Rule::Check("bounds fit the unit", rules::bounds_fit_unit),
    ],
};
