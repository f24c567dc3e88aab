//! `check`: good files, several at once, JSON.

use crate::support::{Place, repository, yaml_below};

#[test]
fn every_shipped_file_has_nothing_wrong() {
    let mut paths = yaml_below("sequences");
    paths.extend(yaml_below("drivers/files"));
    let names: Vec<&str> = paths.iter().map(|path| path.to_str().unwrap()).collect();
    let ran = Place::new().run(&[&["check"], names.as_slice()].concat()).exits(0);
    assert_eq!(ran.err, "");
    for name in names {
        assert!(ran.out.contains(&format!("{name}: ")), "{name}");
    }
}

#[test]
fn shipped_files_are_found_by_name() {
    let place = Place::new();
    let ran = place.run(&[
        "check",
        "wall_unit/quick_check",
        "iec_61851_1_2017",
        "wall_unit_32a",
        "mid_bench",
        "bench_meter",
    ]);
    assert_eq!(ran.exits(0).out.matches("nothing wrong").count(), 5);
}

#[test]
fn a_wrong_file_does_not_hide_the_next_one() {
    let place = Place::new();
    let bad = repository("tests/bad-files/P030_unknown_key.yaml");
    let other = repository("tests/bad-files/F005_word_of_the_point.yaml");
    let arguments = [
        "check",
        "--short",
        bad.to_str().unwrap(),
        "wall_unit/quick_check",
        "nowhere",
        other.to_str().unwrap(),
    ];
    let ran = place.run(&arguments).exits(2);
    for part in [
        "error[P030]",
        "quick_check: sequence, nothing wrong",
        "nowhere:1:1: error:",
        "error[F005]",
    ] {
        assert!(ran.out.contains(part), "no {part}: {}", ran.out);
    }
}

#[test]
fn json_is_one_object_a_line() {
    let place = Place::new();
    let bad = repository("tests/bad-files/P030_many_at_once.yaml");
    let ran = place
        .run(&[
            "check",
            "--json",
            bad.to_str().unwrap(),
            "wall_unit/quick_check",
            "mid_bench",
            "nowhere",
        ])
        .exits(2);
    assert_eq!(ran.err, "");
    let lines = ran.json_lines();
    assert!(
        lines.iter().filter(|line| line["code"].is_string()).count() >= 5,
        "{lines:#?}"
    );
    let sequence = lines.iter().find(|line| line["kind"] == "sequence").unwrap();
    assert!(
        sequence["steps"].as_u64() > Some(5) && sequence["estimate_s"].as_f64() > Some(60.0),
        "{sequence:#}"
    );
    assert!(lines.iter().any(|line| line["kind"] == "bench"));
    assert!(
        lines
            .iter()
            .any(|line| line["file"] == "nowhere" && line["mend"].is_string())
    );
}

#[test]
fn a_sequence_is_fitted_to_what_is_given() {
    let place = Place::new();
    let item = std::fs::read_to_string(repository("sequences/items/wall_unit_32a.yaml")).unwrap();
    place.write("big.yaml", item.replace("rated_current: 32 A", "rated_current: 63 A"));
    let ran = place
        .run(&["check", "--short", "wall_unit/quick_check", "--item", "big.yaml"])
        .exits(2);
    assert!(
        ran.out.starts_with("big.yaml:") && ran.out.contains("error[F011]"),
        "{}",
        ran.out
    );
}

#[test]
fn files_beside_and_in_given_folders_come_before_shipped_ones() {
    let place = Place::new();
    std::fs::create_dir_all(place.path().join("mine/items")).unwrap();
    place.write("mine/items/wall_unit_32a.yaml", "pilotage: item/1\n");
    place.run(&["check", "wall_unit/quick_check"]).exits(0);
    let ran = place
        .run(&["check", "--short", "wall_unit/quick_check", "--files", "mine"])
        .exits(2);
    assert!(ran.out.contains("mine/items/wall_unit_32a.yaml:1:1"), "{}", ran.out);
}

/// What a bench, a defect and an item name is followed although no sequence uses them yet.
#[test]
fn names_and_units_of_a_lone_file_are_looked_at() {
    let place = Place::new();
    let changed = |of: &str, from: &str, to: &str| {
        let text = std::fs::read_to_string(repository(of)).unwrap();
        assert!(text.contains(from), "{of}");
        text.replacen(from, to, 1)
    };
    let bench = "sequences/benches/small_workshop.yaml";
    let defect = "sequences/defects/onboard_charger/o03_r3_too_high.yaml";
    for (of, from, to, words) in [
        (
            bench,
            "driver: bench_meter",
            "driver: bench_metre",
            ["bench_metre", "bench_meter"],
        ),
        (
            bench,
            "function: frequency",
            "function: frequenzy",
            ["frequenzy", "frequency"],
        ),
        (defect, "1.8 kΩ", "1.8 kV", ["r3", "Ω"]),
        (defect, "plain: {r3:", "plain: {r33:", ["r33", "r3"]),
    ] {
        place.write("file.yaml", changed(of, from, to));
        let ran = place.run(&["check", "file.yaml"]).exits(2);
        let said = format!("{}{}", ran.out, ran.err);
        assert!(
            words.iter().all(|word| said.contains(word)) && said.contains("file.yaml:"),
            "{to}: {said}"
        );
    }
}
