//! What the bench cannot decide is said in words before anything is plugged in: `check`, `rehearse`.

use crate::support::{Place, repository};

/// The shipped quick check, which needs 50 ms and gets some 6 ms.
fn quick_check(needs: &str) -> String {
    let text = std::fs::read_to_string(repository("sequences/wall_unit/quick_check.yaml")).unwrap();
    let begin = text.find("needs:").unwrap();
    let end = begin + text[begin..].find("    do:").unwrap();
    let changed = format!("{}{needs}\n{}", &text[..begin], &text[end..]);
    assert!(
        !changed[begin + needs.len()..].contains("needs:"),
        "there is one step with needs"
    );
    changed
}

#[test]
fn where_all_can_be_decided_one_line_says_so() {
    let place = Place::new();
    for arguments in [
        &["check", "wall_unit/quick_check"][..],
        &["check", "--short", "wall_unit/quick_check"],
    ] {
        let ran = place.run(arguments).exits(0);
        let said: Vec<&str> = ran.out.lines().filter(|line| line.contains("needs")).collect();
        assert_eq!(said.len(), 1, "{}", ran.out);
        assert!(
            said[0].contains("can decide everything")
                && said[0].contains("WU-19 close_delay")
                && said[0].contains("50 ms"),
            "{said:?}"
        );
    }
    place.write("none.yaml", quick_check("# no needs"));
    let ran = place.run(&["check", "none.yaml"]).exits(0);
    assert!(
        ran.out.contains("no step asks for a certain uncertainty"),
        "{}",
        ran.out
    );
}

/// Step, reading, limit, the bench's uncertainty, what is needed, and what would help.
const SAID: [&str; 5] = [
    "WU-19 close_delay",
    "at most 3 s",
    "not decidable here",
    "The bench has an expanded uncertainty of",
    "at most 10 µs is needed",
];

#[test]
fn what_cannot_be_decided_is_said_by_check_in_both_forms() {
    let place = Place::new();
    place.write(
        "tight.yaml",
        quick_check("needs: {close_delay: {uncertainty: {at_most: 10 µs}}}"),
    );
    let full = place.run(&["check", "tight.yaml"]).exits(0).out;
    let short = place.run(&["check", "--short", "tight.yaml"]).exits(0).out;
    for words in SAID.iter().chain(&["No instrument would do"]) {
        assert!(
            full.contains(words) && short.contains(words),
            "{words}: {full}\n{short}"
        );
    }
    let line = short.lines().find(|line| line.contains("not decidable")).unwrap();
    let text = std::fs::read_to_string(place.path().join("tight.yaml")).unwrap();
    let titled = 1 + text
        .lines()
        .position(|line| line.trim() == "- step: contactor closes")
        .unwrap();
    assert!(
        line.starts_with(&format!("tight.yaml:{titled}:")) && line.contains(": note: "),
        "{line}"
    );
}

#[test]
fn the_opening_lines_of_a_rehearsal_say_it_before_the_first_step() {
    let place = Place::new();
    place.write(
        "tight.yaml",
        quick_check("needs: {close_delay: {uncertainty: {at_most: 10 µs}}}"),
    );
    let ran = place
        .run(&["rehearse", "tight.yaml", "--no-pdf", "--out", "r"])
        .exits(3);
    let opening = ran.err.split("BC-01").next().unwrap();
    for words in SAID {
        assert!(opening.contains(words), "{words}: {opening}");
    }
    assert!(ran.err.contains("INCONCLUSIVE  WU-19"), "{}", ran.err);
    let whole = place
        .run(&["rehearse", "wall_unit/quick_check", "--no-pdf"])
        .exits(0)
        .err;
    assert!(
        whole.split("BC-01").next().unwrap().contains("can decide everything"),
        "{whole}"
    );
}

#[test]
fn an_instrument_that_would_do_is_named_by_what_it_must_add_at_most() {
    let place = Place::new();
    let text = quick_check("# no needs").replacen(
        "    id: WU-14\n",
        "    id: WU-14\n    needs: {v_low: {uncertainty: {at_most: 1 mV}}}\n",
        1,
    );
    place.write("tight.yaml", text);
    let out = place.run(&["check", "tight.yaml"]).exits(0).out;
    assert!(
        out.contains("Would do: an instrument at `pilot` that adds at most 1 mV"),
        "{out}"
    );
}
