//! A charger after a repair: a healthy one passes every step, what fails dead keeps everything off, and what no other sequence looks at
//! is noticed.

use crate::support::Place;
use serde_json::Value;

const SEQUENCE: &str = "onboard_charger/after_repair";

/// Everything is judged, nothing is left undecided, and both places are proven dead at its end.
#[test]
fn a_healthy_charger_passes_every_step() {
    let place = Place::new();
    let ran = place
        .run(&["rehearse", SEQUENCE, "--no-pdf", "--out", "r", "--json"])
        .exits(0);
    assert_eq!(ran.json()["verdict"], "pass", "{}", ran.err);
    for said in ["pass          OB-01", "pass          OB-51", "input measured dead at"] {
        assert!(ran.err.contains(said), "{said}:\n{}", ran.err);
    }
    assert!(
        !ran.err.contains("inconclusive") && !ran.err.contains("not run"),
        "{}",
        ran.err
    );
    place.run(&["verify", "r"]).exits(0);
    place.run(&["judge", "r"]).exits(0);
}

/// A bond that is missing, a loop that is bridged, a fuse that blew: found dead, and neither mains nor 500 V are ever switched on. Low
/// insulation is found by its own instrument, and the mains stay off.
#[test]
fn what_fails_dead_keeps_everything_off() {
    for (defect, step, insulation) in [
        ("O39", "OB-02", false),
        ("O27", "OB-08", false),
        ("O37", "OB-03", false),
        ("O26", "OB-01", true),
    ] {
        let place = Place::new();
        let ran = place
            .run(&[
                "rehearse", SEQUENCE, "--no-pdf", "--out", "r", "--defect", defect, "--json",
            ])
            .exits(1);
        assert!(ran.err.contains(&format!("FAIL          {step}")), "{}", ran.err);
        let journal = std::fs::read_to_string(place.path().join("r/journal.txt")).unwrap();
        let was_sent = |order: &str| journal.contains(&format!("\"order\":\"{order}\""));
        assert!(!was_sent("set supply to on"), "{defect}: mains");
        assert_eq!(was_sent("set insulation to on"), insulation, "{defect}: 500 V");
    }
}

/// Defects that no other shipped sequence looks at, plain, at the step that their file names.
#[test]
fn what_only_this_sequence_looks_at_is_noticed() {
    let place = Place::new();
    let only = [
        "O18", "O24", "O26", "O27", "O29", "O30", "O35", "O36", "O39", "O43", "O44",
    ];
    let arguments = [
        "challenge",
        SEQUENCE,
        "--json",
        "--seeds",
        "1",
        "--healthy",
        "1",
        "--severities",
        "plain",
        "--defects",
        &only.join(","),
        "--out",
        "c",
    ];
    let json: Value = place.run(&arguments).exits(0).json();
    let rows = json["defects"].as_array().unwrap();
    let ids: Vec<&str> = rows.iter().map(|row| row["id"].as_str().unwrap()).collect();
    assert_eq!(ids, only);
    assert_eq!(json["healthy_twin"]["failed"], 0);
}
