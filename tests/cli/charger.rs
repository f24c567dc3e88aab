//! The charger without high voltage as a small workshop sees it: nothing to name, nothing energised, every defect noticed. And the same
//! charger with its supply and its sink.

use crate::support::Place;
use serde_json::Value;

const SEQUENCE: &str = "onboard_charger/no_high_voltage";
const WITH_POWER: &str = "onboard_charger/quick_check";

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
    let ids = noticed(SEQUENCE, "12", &[]);
    for id in [
        "O01", "O02", "O03", "O04", "O05", "O06", "O07", "O11", "O13", "O14", "O15", "O17", "O37", "O37b", "O38",
        "O40", "O41", "O45",
    ] {
        assert!(ids.iter().any(|tried| tried == id), "{id} is not tried: {ids:?}");
    }
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
/// As the page on the vehicle's side says it.
#[test]
fn a_defect_of_ones_own_is_listed_rehearsed_and_challenged() {
    let page = std::fs::read_to_string(crate::support::repository("docs/vehicle-side.md")).unwrap();
    let (_, rest) = page.split_once("```yaml\npilotage: defect/1").unwrap();
    let (rest, _) = rest.split_once("```").unwrap();
    let place = Place::new();
    let folder = place.path().join("own/defects/onboard_charger");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("r3.yaml"), format!("pilotage: defect/1{rest}")).unwrap();
    let sequence = "onboard_charger/no_high_voltage";
    let listed = place.run(&["defects", sequence, "--files", "own"]).exits(0);
    assert!(listed.out.contains("R3 of the wrong series"), "{listed:#?}");
    let ran = place
        .run(&["rehearse", sequence, "--files", "own", "--defect", "O90", "--no-pdf"])
        .exits(1);
    assert!(ran.out.contains("OB-13"), "{ran:#?}");
    let arguments = [
        "challenge",
        sequence,
        "--files",
        "own",
        "--defects",
        "O90",
        "--seeds",
        "1",
        "--severities",
        "plain",
    ];
    let ran = place.run(&[&arguments[..], &["--healthy", "1"]].concat()).exits(0);
    assert!(ran.out.contains("1/1"), "{ran:#?}");
    // The same id again is the own one in place of the shipped one.
    std::fs::write(
        folder.join("r3.yaml"),
        format!("pilotage: defect/1{}", rest.replace("O90", "O03")),
    )
    .unwrap();
    let listed = place.run(&["defects", sequence, "--files", "own"]).exits(0);
    assert!(
        listed.out.contains("R3 of the wrong series") && !listed.out.contains("R3 too high"),
        "{listed:#?}"
    );
}

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

/// From its defaults to the end: everything passes, and both places are proven dead by the meter, which was proven itself.
#[test]
fn with_power_everything_passes_and_it_ends_dead() {
    passes_whole(
        WITH_POWER,
        &["pass          BC-11", "pass          OB-48", "input measured dead at"],
    );
}

/// The charger is idle and nothing is offered; only the sink is on and holds 400 V. Everybody at the contacts sees them, and nobody calls
/// them dead. What makes safe afterwards switches the sink off, and proves it.
#[test]
fn contacts_that_only_the_sink_makes_live_are_not_dead() {
    let place = Place::new();
    let shipped =
        std::fs::read_to_string(crate::support::repository("sequences/onboard_charger/quick_check.yaml")).unwrap();
    let head = shipped.split("not_tested:").next().unwrap();
    let step = r#"steps:
  - step: the sink holds 400 V
    id: XC-01
    do:
      - set: {load.voltage: 400 V, load.current: 1 A}
      - set: {load: on}
      - hold: 1 s
      - read:
          by_meter: "dc_output[plus-minus].dc_voltage"
          by_analyser: dc_output.voltage
          by_sink: load.measured_voltage
      - judge:
          by_meter: {between: [395 V, 405 V], title: "DC output by the meter", status: common practice}
          by_analyser: {between: [395 V, 405 V], title: "DC output by the analyser", status: common practice}
          by_sink: {between: [395 V, 405 V], title: "DC output by the sink", status: common practice}
    if_fail: {means: "the contacts do not show what the sink holds", look_next: ["leads of the sink"], side: bench}

  - step: the output is called dead
    id: XC-02
    do:
      - prove_dead: {at: dc_output, deadline: 3 s}
    if_fail: {means: "the output is live", look_next: ["the sink"], side: bench}
"#;
    place.write("held.yaml", format!("{head}{step}"));
    let ran = place.run(&["rehearse", "held.yaml", "--no-pdf", "--out", "r"]).exits(5);
    for said in [
        "pass          XC-01",
        "ERROR         XC-02",
        "DC output NOT dead",
        "plus-minus reads 400",
    ] {
        assert!(ran.err.contains(said), "{said}:\n{}", ran.err);
    }
    // Afterwards the output is called dead, with the sink off.
    let journal = std::fs::read_to_string(place.path().join("r/journal.txt")).unwrap();
    let (live, dead) = (
        journal.find("DC output NOT dead"),
        journal.rfind("DC output measured dead at"),
    );
    assert!(live.is_some() && dead > live, "{live:?} {dead:?}");
}

/// The sink of this bench can hold 400 V. Where the stop does not cut it, nothing is energised, and the run says what to look at.
#[test]
fn a_sink_that_the_stop_does_not_cut_ends_the_run_before_anything_is_energised() {
    let place = Place::new();
    let item = std::fs::read_to_string(crate::support::repository("sequences/items/onboard_charger_7kw.yaml")).unwrap();
    place.write(
        "welded.yaml",
        item.replace("virtual: {}", "virtual: {bench_load_contactor_welded: 1}"),
    );
    let ran = place
        .run(&[
            "rehearse",
            WITH_POWER,
            "--no-pdf",
            "--item",
            "welded.yaml",
            "--out",
            "r",
        ])
        .exits(5);
    for said in [
        "ERROR         BC-11",
        "the contactor of the sink was not seen open within 100 ms of enclosure open",
    ] {
        assert!(ran.err.contains(said), "{said}:\n{}", ran.err);
    }
    let journal = std::fs::read_to_string(place.path().join("r/journal.txt")).unwrap();
    assert!(!journal.contains("\"event\":\"intent\""), "something was energised");
}

/// Every defect of the power side, plain, at the step that its file names; the healthy twin and healthy corners.
#[test]
fn every_defect_of_the_power_side_is_noticed() {
    let ids = noticed(WITH_POWER, "2", &[]);
    for id in [
        "O08", "O09", "O10", "O11", "O12", "O13", "O14", "O16", "O19", "O20", "O21", "O22", "O23", "O25", "O28",
        "O28b", "O32", "O33", "O34", "O37", "O40", "O43",
    ] {
        assert!(ids.iter().any(|tried| tried == id), "{id} is not tried: {ids:?}");
    }
}

/// A defect is claimed only where it can be seen: without current, S2 tells of some of them and not of others.
#[test]
fn what_only_current_shows_is_not_claimed_where_s2_is_all_that_is_seen() {
    let place = Place::new();
    let claimed = |sequence: &str| -> std::collections::BTreeMap<String, String> {
        let json = place.run(&["defects", sequence, "--json"]).exits(0).json();
        let defects = json["defects"].as_array().unwrap().clone();
        let of = |defect: &Value, key: &str| defect[key].as_str().unwrap().to_owned();
        defects
            .iter()
            .map(|defect| (of(defect, "id"), of(defect, "claimed_step")))
            .collect()
    };
    let (without, with) = (claimed(SEQUENCE), claimed(WITH_POWER));
    for id in ["O08", "O12", "O16", "O32"] {
        assert!(!without.contains_key(id) && with.contains_key(id), "{id}: {without:?}");
    }
    for (id, part, whole) in [
        ("O11", "OB-14a", "OB-14"),
        ("O13", "OB-14a", "OB-14"),
        ("O14", "OB-18a", "OB-18"),
    ] {
        assert_eq!((without[id].as_str(), with[id].as_str()), (part, whole), "{id}");
    }
}

/// Rehearsed from its defaults every step passes, nothing is left undecided, and the record verifies and is judged again the same.
pub(crate) fn passes_whole(sequence: &str, says: &[&str]) {
    let place = Place::new();
    let ran = place
        .run(&["rehearse", sequence, "--no-pdf", "--out", "r", "--json"])
        .exits(0);
    assert_eq!(ran.json()["verdict"], "pass", "{}", ran.err);
    for said in says {
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

/// The ids of the defects that were tried, plain: each is noticed at the step that its file names, no healthy corner fails, and neither
/// does the healthy twin.
pub(crate) fn noticed(sequence: &str, healthy: &str, more: &[&str]) -> Vec<String> {
    let place = Place::new();
    let arguments = [
        "challenge",
        sequence,
        "--json",
        "--seeds",
        "1",
        "--healthy",
        healthy,
        "--severities",
        "plain",
        "--out",
        "c",
    ];
    let json: Value = place.run(&[&arguments, more].concat()).exits(0).json();
    assert_eq!(json["healthy_twin"]["failed"], 0);
    let rows = json["defects"].as_array().unwrap();
    rows.iter().map(|row| row["id"].as_str().unwrap().to_owned()).collect()
}
