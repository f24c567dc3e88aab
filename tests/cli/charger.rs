//! The charger without high voltage as a small workshop sees it: nothing to name, nothing energised, every defect noticed.

use crate::support::Place;
use serde_json::Value;

const SEQUENCE: &str = "onboard_charger/no_high_voltage";

#[test]
fn it_rehearses_from_its_defaults_and_says_that_nothing_can_energise() {
    let place = Place::new();
    let ran = place.run(&["rehearse", SEQUENCE, "--no-pdf", "--out", "r"]).exits(0);
    let shown = format!("{}{}", ran.err, ran.out);
    for said in [
        "pass          BC-22",
        "so it cannot energise the item",
        "virtual bench, no item was tested",
        "Nothing was found on the on-board charger.",
    ] {
        assert!(shown.contains(said), "{said}:\n{shown}");
    }
    assert!(
        !shown.contains("not run") && !shown.contains("measured dead at"),
        "{shown}"
    );
    place.run(&["verify", "r"]).exits(0);
    place.run(&["judge", "r"]).exits(0);
}

#[test]
fn a_person_who_cannot_say_dead_ends_it() {
    let place = Place::new();
    let item = std::fs::read_to_string(crate::support::repository("sequences/items/onboard_charger_7kw.yaml")).unwrap();
    place.write(
        "charged.yaml",
        item.replace("virtual: {}", "virtual: {person_did_every_pair_measure: \"no\"}"),
    );
    let ran = place
        .run(&["rehearse", SEQUENCE, "--no-pdf", "--item", "charged.yaml", "--out", "r"])
        .exits(5);
    assert!(ran.err.contains("not run       OB-05"), "{}", ran.err);
}

/// Every defect of this kind that a step of the sequence must notice, plain; the healthy twin and healthy corners.
#[test]
fn every_defect_is_noticed_and_no_healthy_charger_fails() {
    let place = Place::new();
    let arguments = [
        "challenge",
        SEQUENCE,
        "--json",
        "--seeds",
        "1",
        "--healthy",
        "12",
        "--severities",
        "plain",
        "--out",
        "c",
    ];
    let json: Value = place.run(&arguments).exits(0).json();
    let rows = json["defects"].as_array().unwrap();
    let ids: Vec<&str> = rows.iter().map(|row| row["id"].as_str().unwrap()).collect();
    for id in [
        "O01", "O02", "O03", "O04", "O05", "O06", "O07", "O14", "O15", "O17", "O37", "O37b", "O38", "O40", "O41", "O45",
    ] {
        assert!(ids.contains(&id), "{id} is not tried: {ids:?}");
    }
    assert_eq!(json["healthy_twin"]["failed"], 0);
}

/// One wrong resistor, one sentence: what is wrong, which side, what to look at.
#[test]
fn a_wrong_r2_is_named_with_its_side() {
    let place = Place::new();
    let ran = place
        .run(&[
            "rehearse", SEQUENCE, "--no-pdf", "--out", "r", "--defect", "o01", "--json",
        ])
        .exits(1);
    let json = ran.json();
    assert_eq!(
        (&json["verdict"], &json["side"]["side"]),
        (&"fail".into(), &"vehicle".into())
    );
    assert!(ran.err.contains("R2") && ran.err.contains("look next"), "{}", ran.err);
}

/// A defect of another kind is refused by its kind, not by a parameter that nobody knows.
#[test]
fn a_defect_of_another_kind_is_refused() {
    let place = Place::new();
    for (sequence, defect) in [("wall_unit/quick_check", "O03"), (SEQUENCE, "W03")] {
        let ran = place
            .run(&["rehearse", sequence, "--no-pdf", "--defect", defect])
            .exits(2);
        assert!(
            ran.err.contains(&format!("defect {defect} is one of the kind")),
            "{}",
            ran.err
        );
    }
}
