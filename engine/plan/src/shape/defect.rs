//! Defects: named changes of parameters of the virtual item.

use super::common::{FAIL_OR_INCONCLUSIVE, ITEM_KINDS, SIDES, STEP_IDS};
use super::table::{DEFECT_ID, Key, NAME, Record, Rest, Rule, Shape, Want};

/// `pilotage: defect/1`
pub static DEFECT: Record = Record {
    name: "defect",
    describes: "A defect: a named change of parameters of the virtual item, with severities.",
    keys: &[&[
        Key::need(
            "pilotage",
            Shape::Text,
            "defect/1",
            "Kind and form of this file; always its first key.",
        ),
        Key::need("id", Shape::Form(&DEFECT_ID), "W03", "The id of the catalogue."),
        Key::need("title", Shape::Text, "Low rail too weak", "What is broken."),
        Key::need("item", Shape::Word(ITEM_KINDS), "wall_unit", "The kind of item."),
        Key::need(
            "noticed_by",
            Shape::List(&STEP_IDS, 1, 50),
            "[WU-14]",
            "Steps that must reveal it; the first that a run reaches is the claimed step.",
        ),
        Key::need("side", Shape::Word(SIDES), "wall_unit", "The side that is right."),
        Key::may(
            "verdict",
            Shape::Word(FAIL_OR_INCONCLUSIVE),
            "fail",
            "The verdict that the claimed step must give; fail where absent.",
        ),
        Key::need(
            "severities",
            Shape::Map(&SEVERITIES),
            "{plain: {v_neg: -10.2 V}}",
            "How far it stands outside its tolerance.",
        ),
    ]],
    rest: None,
    rules: &[],
};

static SEVERITIES: Record = Record {
    name: "severities",
    describes: "Changes for each severity.",
    keys: &[&[
        Key::may(
            "edge",
            Shape::Map(&CHANGES),
            "{v_neg: -11.28 V}",
            "1.2 × the tolerance beyond it.",
        ),
        Key::may(
            "plain",
            Shape::Map(&CHANGES),
            "{v_neg: -10.2 V}",
            "As the catalogue lists it; the only one of a defect that is there or not.",
        ),
        Key::may(
            "gross",
            Shape::Map(&CHANGES),
            "{v_neg: -8.4 V}",
            "5 × the tolerance beyond it.",
        ),
    ]],
    rest: None,
    rules: &[Rule::SomeOf(&["edge", "plain", "gross"])],
};

static CHANGES: Record = Record {
    name: "changes",
    describes: "Parameters of the virtual item and their values.",
    keys: &[],
    rest: Some(Rest {
        key: &NAME,
        describes: "A parameter and its value.",
        value: Shape::Formula(Want::ANY_LITERAL),
        at_least: 1,
        at_most: 50,
    }),
    rules: &[],
};
