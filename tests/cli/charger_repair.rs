//! A charger after a repair: a healthy one passes every step, what fails dead keeps everything off, and what no other sequence looks at
//! is noticed.

use crate::charger::{noticed, passes_whole};
use crate::support::{Place, repository};

const SEQUENCE: &str = "onboard_charger/after_repair";

/// Everything is judged, nothing is left undecided, and both places are proven dead at its end.
#[test]
fn a_healthy_charger_passes_every_step() {
    passes_whole(
        SEQUENCE,
        &["pass          OB-01", "pass          OB-51", "input measured dead at"],
    );
}

/// Other plates than that of the demo: what is rated, offered and marked follows the plate, and up to 16 A each harmonic has its limit in
/// amperes.
#[test]
fn healthy_chargers_of_other_plates_pass() {
    let place = Place::new();
    let plate = std::fs::read_to_string(repository("sequences/items/onboard_charger_7kw.yaml")).unwrap();
    for (rated, dc) in [("10 A", "5.6 A"), ("30 A", "15 A"), ("40 A", "22.5 A")] {
        let other = plate
            .replace("rated_current: 32 A", &format!("rated_current: {rated}"))
            .replace("dc_current: 18 A", &format!("dc_current: {dc}"));
        place.write("item.yaml", other);
        let ran = place.run(&[
            "rehearse",
            "onboard_charger/quick_check",
            "--item",
            "item.yaml",
            "--no-pdf",
        ]);
        assert_eq!(ran.code, 0, "{rated}: {ran:#?}");
    }
    let ran = place
        .run(&[
            "rehearse",
            SEQUENCE,
            "--item",
            "onboard_charger_3kw",
            "--no-pdf",
            "--out",
            "r",
        ])
        .exits(0);
    assert!(ran.err.contains("pass          OB-34"), "{ran:#?}");
    let csv = std::fs::read_to_string(place.path().join("r/reports/after_repair-seed1.csv")).unwrap();
    let judged = |number: u32| {
        csv.lines()
            .any(|line| line.contains(&format!(",a_{number},")) && line.contains(",pass,"))
    };
    assert!((2..=40).all(judged), "{csv}");
    place.write(
        "split.yaml",
        plate
            .replace("phases: single", "phases: split")
            .replace("230 V", "240 V"),
    );
    let split = place
        .run(&["rehearse", SEQUENCE, "--item", "split.yaml", "--no-pdf"])
        .exits(2);
    assert!(
        split.err.contains("F011") && split.err.contains("phases_is_single"),
        "{split:#?}"
    );
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
    notices(&[
        "O18", "O24", "O26", "O27", "O29", "O30", "O35", "O36", "O39", "O43", "O44",
    ]);
}

/// What a charger does with its commands, and what it says of itself, with the power on.
#[test]
fn a_charger_that_does_not_heed_its_commands_is_noticed() {
    notices(&["O31", "O31b", "O31c", "O31d", "O31e", "O46", "O47", "O48"]);
}

/// A charger that clamps nothing gives more than its plate says, not only says that it would.
#[test]
fn set_points_beyond_the_plate_show_in_what_it_gives() {
    let place = Place::new();
    let arguments = [
        "rehearse", SEQUENCE, "--no-pdf", "--out", "r", "--defect", "O31d", "--json",
    ];
    let ran = place.run(&arguments).exits(1);
    let csv = std::fs::read_to_string(place.path().join("r/reports/after_repair-O31D-plain-seed1.csv")).unwrap();
    for name in ["v_accepted", "i_accepted", "clamped_v", "clamped_i"] {
        let row = csv.lines().find(|line| line.contains(&format!(",{name},"))).unwrap();
        assert!(row.contains(",fail,"), "{row}\n{}", ran.err);
    }
}

/// Without an interface to the bus every step of it is left out, and the report says which.
#[test]
fn without_an_interface_the_rest_passes_and_what_is_left_out_is_listed() {
    let place = Place::new();
    let bench = std::fs::read_to_string(crate::support::repository("sequences/benches/charger_bench.yaml")).unwrap();
    let without: Vec<&str> = bench
        .lines()
        .filter(|line| !line.starts_with("  can:") && !line.contains("by: can,"))
        .collect();
    place.write("without.yaml", without.join("\n"));
    let arguments = [
        "rehearse",
        SEQUENCE,
        "--no-pdf",
        "--bench",
        "without.yaml",
        "--out",
        "r",
        "--json",
    ];
    let ran = place.run(&arguments).exits(0);
    assert_eq!(ran.json()["verdict"], "pass", "{}", ran.err);
    for said in ["pass          OB-50", "pass          OB-48", "pass          OB-51"] {
        assert!(ran.err.contains(said), "{said}:\n{}", ran.err);
    }
    let report = std::fs::read_to_string(place.path().join("r/reports/TEST-after_repair-seed1.xml")).unwrap();
    for left_out in ["OB-43 commands stop", "OB-21 stop by command", "OB-51 what it reports"] {
        assert!(report.contains(&format!("not tested: {left_out}")), "{left_out}");
    }
    for tested in ["OB-48 discharge, with", "OB-51 insulation", "BC-05"] {
        assert!(!report.contains(&format!("not tested: {tested}")), "{tested}");
    }
}

/// Each of them is noticed at the step that its file names, and the healthy twin is not.
fn notices(only: &[&str]) {
    assert_eq!(noticed(SEQUENCE, "1", &["--defects", &only.join(",")]), only);
}
