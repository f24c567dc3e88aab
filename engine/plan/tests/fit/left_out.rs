//! Steps that the bench does not serve, and those that rely on them.

use crate::build::*;
use pilotage_plan::files::sequence::*;

/// Dead, then a step that needs an instrument and leaves state C, then one that relies on it.
fn relying(last: Vec<ActText>) -> Files {
    let mut on = switched_on();
    on.push(prove_dead("ac_output"));
    let needs_capture = vec![capture(&["pilot"], "1 s", "1 kHz", vec![set("pilot_load", "state_C")])];
    let steps = vec![step("A", on), step("B", needs_capture), step("C", last)];
    Files::new(steps).without_point("pilot")
}

fn not_tested(files: &Files) -> Vec<(String, String)> {
    let program = files.fit().unwrap();
    program
        .heading
        .not_tested
        .into_iter()
        .map(|left_out| (left_out.what, left_out.why))
        .collect()
}

#[test]
fn a_step_that_relies_on_a_left_out_step_is_left_out_too() {
    let left_out = not_tested(&relying(vec![read(&[("u", "ac_output[L-N].voltage")])]));
    assert_eq!(left_out[0].0, "B");
    let why = "begins in the state that B would leave (`pilot_load`: state_C), which is not tested";
    assert_eq!(left_out[1], ("C".to_owned(), why.to_owned()));
}

#[test]
fn a_step_that_sets_its_own_state_stays() {
    let own = vec![
        set("pilot_load", "state_B"),
        hold("1 s"),
        read(&[("u", "ac_output[L-N].voltage")]),
    ];
    let left_out = not_tested(&relying(own));
    assert_eq!(left_out.len(), 1, "{left_out:?}");
}

#[test]
fn hands_do_not_rely_on_an_isolation_that_was_left_out() {
    let steps = vec![
        step("A", switched_on()),
        step("B", vec![read(&[("v", "pilot.high")]), isolate()]),
        step("C", vec![ask_hands()]),
    ];
    let left_out = not_tested(&Files::new(steps).without_point("pilot.high"));
    assert_eq!(
        left_out.iter().map(|(id, _)| id.as_str()).collect::<Vec<_>>(),
        ["B", "C"]
    );
    assert_eq!(
        left_out[1].1,
        "begins in *isolated*, as B would leave it, which is not tested"
    );
}
