//! Values that a person types: how exact they are, and what a virtual person must know.

use crate::support::{Place, repository};

fn sequence(ask: &str) -> String {
    let text = std::fs::read_to_string(repository("tests/scenarios/every_act.yaml")).unwrap();
    let plain = "answer: {quantity: A}, as: breaker";
    assert!(text.contains(plain));
    text.replace(plain, ask)
}

fn item(knows: &str) -> String {
    let text = std::fs::read_to_string(repository("tests/scenarios/breaker_40a.yaml")).unwrap();
    text.replace("virtual: {person_breaker_rating: 40 A}", knows)
}

/// The verdict of the step that compares the breaker with the rated current of 32 A.
fn rehearsed(place: &Place, ask: &str, knows: &str) -> (String, String) {
    place.write("s.yaml", sequence(ask));
    place.write("breaker_40a.yaml", item(knows));
    let _old = std::fs::remove_dir_all(place.path().join("r"));
    let ran = place.run(&["rehearse", "s.yaml", "--no-pdf", "--json", "--out", "r"]);
    let json = ran.json();
    let steps = json["steps"].as_array().unwrap();
    let step = steps.iter().find(|step| step["id"] == "WU-01").unwrap();
    (step["verdict"].as_str().unwrap().to_owned(), ran.err)
}

#[test]
fn without_a_word_the_last_digit_counts_and_that_is_said() {
    let place = Place::new();
    let plain = "answer: {quantity: A}, as: breaker";
    let (verdict, said) = rehearsed(&place, plain, "virtual: {person_breaker_rating: 40 A}");
    assert_eq!(verdict, "pass", "{said}");
    // Half of the last digit of 40 A, rectangular, k = 2: 2 · 0.5 A / √3.
    assert!(
        said.contains("nobody said how exact it is") && said.contains("U = 0.577 A"),
        "{said}"
    );
    let journal = std::fs::read_to_string(place.path().join("r/journal.txt")).unwrap();
    assert!(
        journal.contains("uncertainty from the typed digits only"),
        "no mark in the record"
    );
    // Within the last digit of the bound nothing can be said.
    let (verdict, _) = rehearsed(&place, plain, "virtual: {person_breaker_rating: 32 A}");
    assert_eq!(verdict, "inconclusive");
    let (verdict, _) = rehearsed(&place, plain, "virtual: {person_breaker_rating: 32.0 A}");
    assert_eq!(verdict, "inconclusive");
    let (verdict, _) = rehearsed(&place, plain, "virtual: {person_breaker_rating: 20 A}");
    assert_eq!(verdict, "fail");
}

#[test]
fn the_sequence_may_state_how_exact_an_answer_is() {
    let place = Place::new();
    let stated = "answer: {quantity: A}, uncertainty: 10 A, as: breaker";
    let (verdict, said) = rehearsed(&place, stated, "virtual: {person_breaker_rating: 40 A}");
    assert_eq!(verdict, "inconclusive", "8 A are not 10 A: {said}");
    assert!(!said.contains("nobody said how exact it is"), "{said}");
    let stated = "answer: {quantity: A}, uncertainty: 2 A, as: breaker";
    let (verdict, _) = rehearsed(&place, stated, "virtual: {person_breaker_rating: 40 A}");
    assert_eq!(verdict, "pass");
}

#[test]
fn a_virtual_person_who_knows_no_value_is_refused_before_the_run_and_how_to_mend_it() {
    let place = Place::new();
    place.write("s.yaml", sequence("answer: {quantity: A}, as: breaker"));
    place.write("breaker_40a.yaml", item("virtual: {}"));
    let run = |out: &str| place.run(&["rehearse", "s.yaml", "--no-pdf", "--out", out]);
    let refused = run("r");
    refused.refused(&[
        "s.yaml:",
        "What is the breaker rating?",
        "no value in A",
        "person_what_is_the_breaker_rating: 1 A",
        "person_quantity: 1 A",
    ]);
    assert!(!place.path().join("r").exists());
    // The mend works as it is printed.
    for key in ["person_what_is_the_breaker_rating", "person_quantity"] {
        place.write("breaker_40a.yaml", item(&format!("virtual: {{{key}: 40 A}}")));
        run(key).exits(0);
    }
}

#[test]
fn what_a_person_answers_in_words_stands_in_the_item_file() {
    let place = Place::new();
    let text = std::fs::read_to_string(repository("tests/scenarios/every_act.yaml")).unwrap();
    place.write("s.yaml", text);
    let torn = "virtual: {person_breaker_rating: 40 A, person_which_is_the_seal: torn}";
    place.write("breaker_40a.yaml", item(torn));
    let ran = place
        .run(&["rehearse", "s.yaml", "--no-pdf", "--json", "--out", "r"])
        .exits(1);
    let json = ran.json();
    assert_eq!(
        json["steps"]
            .as_array()
            .unwrap()
            .iter()
            .find(|step| step["id"] == "WU-01")
            .unwrap()["verdict"],
        "fail"
    );
    place.write("breaker_40a.yaml", item("virtual: {v_neg: low}"));
    let ran = place.run(&["check", "s.yaml"]).exits(2);
    assert!(
        ran.err.contains("wants a number") && ran.err.contains("person_"),
        "{}",
        ran.err
    );
}
