//! Inlets and cables from the command: their sequences from defaults, their defects, the two readings of a code, and by hand.

use crate::support::{Place, repository};
use serde_json::Value;

const ALL: [&str; 4] = ["inlet/resistances", "cable/assembly", "inlet/by_hand", "cable/by_hand"];

#[test]
fn each_sequence_rehearses_from_its_defaults_and_leaves_reports() {
    for sequence in ALL {
        let place = Place::new();
        let ran = place.run(&["rehearse", sequence, "--out", "r", "--no-pdf"]).exits(0);
        assert!(ran.err.contains("no item is tested"), "{}", ran.err);
        let reports = place.path().join("r/reports");
        let names: Vec<String> = std::fs::read_dir(reports)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        assert!(names.iter().any(|name| name.starts_with("TEST-")), "{names:?}");
        place.run(&["verify", "r"]).exits(0);
        place.run(&["judge", "r"]).exits(0);
    }
}

/// Every defect at its claimed step, its twin and some corners without a fail. The long sequences at severity plain, by hand all.
fn challenged(sequence: &str, more: &[&str]) -> Value {
    let place = Place::new();
    let arguments = [&["challenge", sequence, "--json", "--seeds", "1"], more].concat();
    place.run(&arguments).exits(0).json()
}

fn ids(table: &Value) -> Vec<&str> {
    let rows = table["defects"].as_array().unwrap();
    rows.iter().map(|row| row["id"].as_str().unwrap()).collect()
}

#[test]
fn every_defect_of_an_inlet_is_noticed_where_it_is_claimed() {
    let table = challenged("inlet/resistances", &["--healthy", "2", "--severities", "plain"]);
    let expected = [
        "K03", "K04", "K09", "K10", "K12", "K13", "K13b", "K13c", "K14", "K14b", "K14c", "K15", "K15b",
    ];
    assert_eq!(ids(&table), expected);
}

#[test]
fn every_defect_of_a_cable_is_noticed_where_it_is_claimed() {
    let table = challenged("cable/assembly", &["--healthy", "1", "--severities", "plain"]);
    let expected = [
        "K01", "K02", "K03", "K04", "K05", "K06", "K07", "K07b", "K08", "K09", "K10", "K11", "K12", "K16", "K17",
    ];
    assert_eq!(ids(&table), expected);
}

#[test]
fn by_hand_the_same_defects_show_to_a_multimeter() {
    let plain = ["--healthy", "12", "--severities", "plain"];
    assert_eq!(
        challenged("inlet/by_hand", &plain)["defects"].as_array().unwrap().len(),
        7
    );
    assert_eq!(
        challenged("cable/by_hand", &plain)["defects"].as_array().unwrap().len(),
        8
    );
}

/// 140 Ω stands in a gap of the first reading and is 63 A in both; 320 Ω is 32 A in the second only.
#[test]
fn a_code_is_read_by_the_set_that_was_chosen() {
    let item = std::fs::read_to_string(repository("sequences/items/cable_type_2.yaml")).unwrap();
    let place = Place::new();
    place.write("cable.yaml", item.replace("virtual: {}", "virtual: {r_pp_plug: 320 Ω}"));
    let verdicts = |set: &str| {
        let out = format!("r_{set}");
        let arguments = [
            "rehearse",
            "cable/by_hand",
            "--item",
            "cable.yaml",
            "--limits",
            set,
            "--no-pdf",
            "--out",
            &out,
        ];
        // The resistor is outside its own tolerance in both.
        place.run(&arguments).exits(1);
        let table = std::fs::read_dir(place.path().join(&out).join("reports")).unwrap();
        let csv = table
            .map(|entry| entry.unwrap().path())
            .find(|path| path.extension().is_some_and(|end| end == "csv"))
            .unwrap();
        let csv = std::fs::read_to_string(csv).unwrap();
        let line = csv
            .lines()
            .find(|line| line.contains("coding.rated_32") && line.contains("plug_32"))
            .unwrap();
        (line.contains(",fail,"), line.contains(",pass,"))
    };
    assert_eq!(verdicts("proximity_coding_1"), (true, false));
    assert_eq!(verdicts("proximity_coding_2"), (false, true));
}

/// A slip of the second entry is a fault of the bench, not of the item.
#[test]
fn a_slip_of_typing_is_an_error_of_the_bench() {
    let item = std::fs::read_to_string(repository("sequences/items/inlet_type_1.yaml")).unwrap();
    let place = Place::new();
    let slip = "virtual: {person_type_it_once_more: 270 Ω}";
    place.write("inlet.yaml", item.replace("virtual: {}", slip));
    let ran = place
        .run(&["rehearse", "inlet/by_hand", "--item", "inlet.yaml", "--no-pdf"])
        .exits(5);
    assert!(ran.err.contains("r_proximity_twice"), "{}", ran.err);
}

/// Who doubts that the item is dead touches nothing.
#[test]
fn a_doubt_that_the_item_is_dead_ends_the_run() {
    let item = std::fs::read_to_string(repository("sequences/items/cable_type_1.yaml")).unwrap();
    let place = Place::new();
    let doubt = "virtual: {person_did_every_pair_measure: \"no\"}";
    place.write("cable.yaml", item.replace("virtual: {}", doubt));
    let ran = place
        .run(&["rehearse", "cable/by_hand", "--item", "cable.yaml", "--no-pdf"])
        .exits(5);
    assert!(ran.err.contains("disconnect the item"), "{}", ran.err);
}

/// One id names a defect of each kind of item; the item decides which is meant.
#[test]
fn an_id_means_the_defect_of_the_kind_at_hand() {
    let place = Place::new();
    let arguments = ["rehearse", "inlet/by_hand", "--defect", "K03", "--no-pdf", "--out", "r"];
    let ran = place.run(&arguments).exits(1);
    assert!(ran.err.contains("IN-04"), "{}", ran.err);
    let listed = place.run(&["defects", "--json"]).exits(0).json();
    let kinds = |id: &str| {
        let rows = listed["defects"].as_array().unwrap();
        rows.iter()
            .filter(|row| row["id"] == id)
            .map(|row| row["item"].as_str().unwrap().to_owned())
            .collect::<Vec<_>>()
    };
    assert_eq!(kinds("K03"), ["cable_assembly", "inlet", "wall_unit"]);
}

/// What a person types at the terminal about an item of their own: a record of a real item, which no page calls virtual.
#[test]
fn by_hand_a_person_measures_an_item_that_exists() {
    let place = Place::new();
    place
        .run(&["run", "inlet/by_hand", "--no-pdf"])
        .refused(&["exists nowhere", "--item"]);
    let item = std::fs::read_to_string(repository("sequences/items/inlet_type_1.yaml")).unwrap();
    place.write("mine.yaml", item.replace("IN-DEMO-0001", "4711"));
    let typed = [
        "technician",
        "yes",
        "yes",
        "understood",
        "understood",
        "understood",
        "yes",
        "yes",
        "yes",
        "2.71 kΩ",
        "2705",
        "60 MΩ",
        "60 MΩ",
        "23.1 °C",
        "1090",
        "1089",
        "1 Ω",
    ];
    let arguments = ["run", "inlet/by_hand", "--item", "mine.yaml", "--no-pdf", "--out", "r"];
    let ran = place.run_with(&arguments, &[], &(typed.join("\n") + "\n")).exits(0);
    assert!(
        ran.err.contains("a real item") && !ran.err.contains("virtual"),
        "{}",
        ran.err
    );
    let caution = ran.err.find("Type `understood`").unwrap();
    let dead = ran.err.find("Is nothing connected").unwrap();
    assert!(caution < dead, "who makes ready must know first: {}", ran.err);
    place.run(&["judge", "r"]).exits(0);
    // A slip of the decimal point in the second entry.
    let slipped = typed.join("\n").replace("\n2705\n", "\n27.05 kΩ\n");
    let arguments = ["run", "inlet/by_hand", "--item", "mine.yaml", "--no-pdf", "--out", "s"];
    place.run_with(&arguments, &[], &slipped).exits(5);
}
