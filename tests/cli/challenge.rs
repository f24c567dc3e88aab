//! `challenge`: which defects are tried, and the healthy twin.

use crate::support::{Place, repository};
use serde_json::Value;

const FAST: [&str; 8] = ["--seeds", "1", "--healthy", "1", "--severities", "plain", "--out", "c"];

fn ids(json: &Value) -> Vec<&str> {
    let rows = json["defects"].as_array().unwrap();
    rows.iter().map(|row| row["id"].as_str().unwrap()).collect()
}

#[test]
fn only_claimed_defects_are_tried_unless_all_are_wanted() {
    let place = Place::new();
    // The first steps are enough to tell, and soon done.
    let whole = std::fs::read_to_string(repository("sequences/wall_unit/quick_check.yaml")).unwrap();
    let (first, _) = whole.split_once("  - step: pilot levels in state B").unwrap();
    place.write("first.yaml", first);
    let run = |more: &[&str]| {
        let arguments = [&["challenge", "first.yaml", "--json"], &FAST[..], more].concat();
        place.run(&arguments).json()
    };
    let claimed = run(&[]);
    let rows = claimed["defects"].as_array().unwrap();
    assert!(
        rows.len() > 1 && rows.iter().all(|row| row["claimed_step"].is_string()),
        "{claimed:#}"
    );
    let all = run(&["--all"]);
    assert!(ids(&all).len() > ids(&claimed).len());
    assert!(ids(&claimed).iter().all(|id| ids(&all).contains(id)));
    let known = place.run(&["defects", "first.yaml", "--json"]).exits(0).json();
    let known: Vec<&str> = known["defects"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| row["id"].as_str().unwrap())
        .collect();
    assert!(
        known.iter().all(|id| ids(&claimed).contains(id)),
        "`defects SEQUENCE` lists others"
    );
}

#[test]
fn the_healthy_twin_has_its_row_in_table_data_and_picture() {
    let place = Place::new();
    let arguments = [&["challenge", "wall_unit/quick_check", "--defects", "W03"], &FAST[..]].concat();
    let ran = place.run(&arguments).exits(0);
    let row = ran.out.lines().find(|line| line.contains("Healthy twin")).unwrap();
    assert!(row.contains("0/1"), "{row}");
    assert!(
        ran.out
            .contains("healthy twin: 1 rehearsal, 0 with a fail (at most 95.0 % with 95 % confidence)"),
        "{}",
        ran.out
    );
    let json: Value = serde_json::from_slice(&std::fs::read(place.path().join("c/challenge.json")).unwrap()).unwrap();
    assert_eq!(
        (&json["healthy_twin"]["trials"], &json["healthy_twin"]["failed"]),
        (&1.into(), &0.into())
    );
    assert!(json["healthy_twin"]["upper_95"].is_number() && json["healthy_twin"]["by_step"].is_object());
    let picture = std::fs::read_to_string(place.path().join("c/challenge.svg")).unwrap();
    assert!(picture.contains("Healthy twin, no defect"), "{picture}");
}
