//! `calc`, `explain` and `defects`: short answers for people, and the same as data.

use crate::support::{Place, snapshot};

#[test]
fn calc_works_out_units() {
    let place = Place::new();
    // 11.3 V over 1 kΩ and 882 Ω: 5.2957… V, from the loop equation of the pilot circuit (IEC 61851-1 Figure A.1).
    let cases = [
        (vec!["calc", "(12 V - 0.7 V) * 882 Ω / (1 kΩ + 882 Ω)"], "5.2957"),
        (vec!["calc", "230 V / 32 A"], "7.1875 Ω"),
        (vec!["calc", "230 V * 32 A", "--unit", "kW"], "7.36 kW"),
        (vec!["calc", "25 % of 32 A"], "8 A"),
        (vec!["calc", "duty_for(32 A)", "--unit", "%"], "53.3333 %"),
        (vec!["calc", "2 V > 1500 mV"], "true"),
        (vec!["calc", "-5 V"], "-5 V"),
    ];
    for (arguments, answer) in cases {
        let ran = place.run(&arguments).exits(0);
        assert!(
            ran.out.starts_with(answer) && ran.err.is_empty(),
            "{arguments:?}: {ran:?}"
        );
    }
}

#[test]
fn calc_marks_what_is_wrong_where_it_stands() {
    let place = Place::new();
    let ran = place.run(&["calc", "1 V + 2 A"]);
    ran.refused(&["1 V + 2 A", "^"]);
    snapshot("calc_dimensions", &ran.err);
    place.run(&["calc", "(1 V"]).refused(&["^"]);
    place.run(&["calc", "1 volts"]).refused(&["volts"]);
    place.run(&["calc", "$x * 2"]).refused(&["x"]);
    place
        .run(&["calc", "1 V", "--unit", "A"])
        .refused(&["1 V", "cannot be given in A"]);
    place.run(&["calc", "1 V", "--unit", "mVV"]).refused(&["mVV", "mV"]);
    let json = place.run(&["calc", "12 V + 3 s", "--json"]).exits(2).json();
    assert!(
        json["from"].is_u64() && json["to"].is_u64() && json["error"].is_string(),
        "{json}"
    );
}

#[test]
fn calc_without_a_value_is_inconclusive_never_a_number() {
    let place = Place::new();
    for expression in ["1 V / 0", "0 / 0", "1e308 V * 1e308", "sqrt(-1)"] {
        let ran = place.run(&["calc", expression]).exits(3);
        assert!(ran.out.starts_with("no value:"), "{expression}: {ran:?}");
        let json = place.run(&["calc", expression, "--json"]).exits(3).json();
        assert!(json["no_value"].is_string() && json.get("si").is_none(), "{json}");
    }
}

#[test]
fn calc_answers_line_by_line() {
    let place = Place::new();
    let ran = place
        .run_with(&["calc", "-", "--json"], &[], "1 V * 2\n1 V +\n1 / 0\n")
        .exits(2);
    let lines = ran.json_lines();
    assert_eq!(lines.len(), 3);
    assert_eq!(lines[0]["si"], 2.0);
    assert!(lines[1]["error"].is_string() && lines[2]["no_value"].is_string());
    // A unit that does not fit is not printed beside another dimension's number.
    place.run_with(&["calc", "-", "--unit", "A"], &[], "1 V\n").exits(2);
}

#[test]
fn explain_shows_source_derivation_and_use() {
    let place = Place::new();
    let ran = place.run(&["explain", "contactor.close_delay"]).exits(0);
    assert!(ran.out.contains("used by") && ran.out.contains("WU-19"), "{}", ran.out);
    snapshot(
        "explain",
        &place
            .run(&["explain", "pilot.state_B", "--limits", "iec_61851_1_2017"])
            .exits(0)
            .out,
    );
    let json = place.run(&["explain", "pilot.state_B", "--json"]).exits(0).json();
    assert!(
        json["limits"].as_array().unwrap().len() >= 2,
        "both shipped sets have it"
    );
    for limit in json["limits"].as_array().unwrap() {
        assert!(
            limit["status"].is_string() && limit["place"].is_string() && limit["bounds"].is_array(),
            "{limit}"
        );
    }
    place
        .run(&["explain", "contactor.close_dely"])
        .refused(&["did you mean `contactor.close_delay`"]);
    place
        .run(&["explain", "pilot.state_B", "--limits", "none"])
        .refused(&["limit set"]);
}

#[test]
fn defects_say_who_should_notice_them() {
    let place = Place::new();
    let ran = place.run(&["defects"]).exits(0);
    assert!(ran.out.lines().count() >= 22, "{}", ran.out);
    assert!(ran.out.contains("W03") && ran.out.contains("WU-14"));
    let json = place
        .run(&["defects", "wall_unit/quick_check", "--json"])
        .exits(0)
        .json();
    for defect in json["defects"].as_array().unwrap() {
        assert!(
            defect["claimed_step"].is_string() && !defect["severities"].as_array().unwrap().is_empty(),
            "{defect}"
        );
    }
    place.run(&["defects", "wall_unit/quick"]).refused(&["quick_check"]);
}
