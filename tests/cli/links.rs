//! `--trace`, `--playback` and `--link-faults`: what goes over the links, played again, and disturbed.

use crate::support::{Place, Ran, files};
use std::path::Path;

const QUICK: &str = "wall_unit/quick_check";

const TRACED: [&str; 6] = ["rehearse", QUICK, "--no-pdf", "--trace", "t.trace", "--json"];

fn traced(place: &Place, more: &[&str]) -> Ran {
    place.run(&[&TRACED[..], &["--out", "r"], more].concat())
}

/// The trace played back with a sequence.
fn played(place: &Place, sequence: &str) -> Ran {
    place.run(&[
        "rehearse",
        sequence,
        "--no-pdf",
        "--out",
        "again",
        "--playback",
        "t.trace",
    ])
}

fn trace(place: &Place) -> String {
    std::fs::read_to_string(place.path().join("t.trace")).unwrap()
}

/// Everything that happened, without what is chained to the heading.
fn events(record: &Path) -> Vec<String> {
    let journal = std::fs::read_to_string(record.join("journal.txt")).unwrap();
    let lines = journal.lines().skip(1);
    lines.map(|line| line.split_once(' ').unwrap().1.to_owned()).collect()
}

#[test]
fn a_trace_has_every_link_with_times_and_is_the_same_to_the_byte() {
    let (first, second) = (Place::new(), Place::new());
    std::thread::scope(|scope| {
        scope.spawn(|| traced(&first, &[]).exits(0));
        scope.spawn(|| traced(&second, &[]).exits(0));
    });
    assert!(files(first.path()) == files(second.path()), "two rehearsals differ");
    let text = trace(&first);
    assert!(
        text.starts_with("# pilotage trace 1\n# of: quick_check-seed1\n# seed: 1\n"),
        "{}",
        &text[..200]
    );
    let mut before = 0;
    for line in text.lines().filter(|line| !line.starts_with('#')) {
        let mut parts = line.splitn(4, ' ');
        let at: u64 = parts.next().unwrap().parse().unwrap();
        assert!(at >= before, "{line}");
        before = at;
        assert!(
            parts.next().is_some() && [">", "<", "!"].contains(&parts.next().unwrap()),
            "{line}"
        );
    }
    for said in ["meter > *IDN?\\x0A", "guard > DIGital:DATA? 1\\x0A", "scope < "] {
        assert!(text.contains(said), "no {said}");
    }
}

#[test]
fn a_trace_played_back_brings_the_same_run_and_says_what_it_is() {
    let place = Place::new();
    traced(&place, &["--defect", "W03"]).exits(1);
    let ran = played(&place, QUICK).exits(1);
    assert!(
        ran.err
            .contains("seed 1, defect W03 plain, links played back from the trace of quick_check-W03-plain-seed1"),
        "{}",
        ran.err
    );
    assert!(ran.out.contains("no item was tested"), "{}", ran.out);
    assert_eq!(events(&place.path().join("r")), events(&place.path().join("again")));
    place.run(&["verify", "again"]).exits(0);
}

#[test]
fn one_altered_digit_of_a_reply_changes_that_reading_and_nothing_else() {
    let place = Place::new();
    traced(&place, &[]).exits(0);
    // The temperature before the load: 0.2 K less makes the rise 0.2 K more.
    let journal = std::fs::read_to_string(place.path().join("r/journal.txt")).unwrap();
    let line = journal
        .lines()
        .find(|line| line.contains(r#""name":"t_cold""#))
        .unwrap();
    let event: serde_json::Value = serde_json::from_str(line.split_once(' ').unwrap().1).unwrap();
    let exchange = &event["exchanges"][0];
    let (came, reply) = (&exchange["ended"], exchange["received"].as_str().unwrap());
    let (whole, digit, rest) = (&reply[..4], &reply[4..5], &reply[5..]);
    let other = if digit == "1" { "2" } else { "1" };
    let text = trace(&place);
    let altered = text.replace(
        &format!("\n{came} thermometer < {reply}"),
        &format!("\n{came} thermometer < {whole}{other}{rest}"),
    );
    assert_ne!(text, altered);
    place.write("t.trace", altered);
    played(&place, QUICK).exits(0);
    let (before, after) = (events(&place.path().join("r")), events(&place.path().join("again")));
    assert_eq!(before.len(), after.len());
    let differ: Vec<&String> = before
        .iter()
        .zip(&after)
        .filter(|(before, after)| before != after)
        .map(|(_, after)| after)
        .collect();
    let names = [r#""name":"t_cold""#, r#""name":"rise""#];
    assert!(
        differ.len() >= 2 && differ.iter().all(|event| names.iter().any(|name| event.contains(name))),
        "{differ:#?}"
    );
}

#[test]
fn a_trace_that_does_not_fit_is_refused_with_line_and_mend_and_leaves_no_record() {
    let place = Place::new();
    traced(&place, &[]).exits(0);
    let text = trace(&place);
    let refused = |sequence: &str, words: &[&str]| {
        let ran = played(&place, sequence).exits(2);
        for words in words.iter().chain(&["mend: "]) {
            assert!(ran.err.contains(words), "no {words}: {}", ran.err);
        }
        assert!(!place.path().join("again/journal.txt").exists());
    };
    refused(
        "wall_unit/acceptance_single_phase",
        &["t.trace:", "the trace does not fit", "is asked"],
    );
    // One question altered.
    let number = 1 + text
        .lines()
        .position(|line| line.contains("supply > ") && line.contains("OUTPut"))
        .unwrap();
    let altered: Vec<String> = text
        .lines()
        .enumerate()
        .map(|(index, line)| {
            if index + 1 == number {
                line.replace("OUTPut", "OUTPUT")
            } else {
                line.to_owned()
            }
        })
        .collect();
    place.write("t.trace", altered.join("\n"));
    refused(
        "wall_unit/quick_check",
        &[&format!("t.trace:{number}: "), "supply is asked", "OUTPUT"],
    );
    // The last question altered: the run ends before anybody waits for an answer.
    let mut altered: Vec<String> = text.lines().map(str::to_owned).collect();
    let last = altered.iter().rposition(|line| line.contains(" > ")).unwrap();
    let (before, asked) = altered[last].split_once(" > ").unwrap();
    altered[last] = format!("{before} > X{asked}");
    place.write("t.trace", altered.join("\n"));
    refused(
        "wall_unit/quick_check",
        &[&format!("t.trace:{}: ", last + 1), "is asked \"X"],
    );
    // Cut short, gone on too long, from another bench, no trace at all.
    let lines: Vec<&str> = text.lines().collect();
    place.write("t.trace", lines[..2000].join("\n"));
    refused(
        "wall_unit/quick_check",
        &["t.trace, at its end", "is asked nothing more"],
    );
    place.write("t.trace", format!("{text}999999999999999 meter > *IDN?\\x0A\n"));
    refused(
        "wall_unit/quick_check",
        &[&format!("t.trace:{}", lines.len() + 1), "the run has ended"],
    );
    place.write("t.trace", format!("{text}0 oven > *IDN?\\x0A\n"));
    refused("wall_unit/quick_check", &["no instrument `oven`", "--bench"]);
    place.write("t.trace", "0 meter > *IDN?\n");
    refused("wall_unit/quick_check", &["t.trace:1: expected a line of a trace"]);
    place.write("t.trace", format!("{text}nonsense\n"));
    refused(
        "wall_unit/quick_check",
        &[&format!("t.trace:{}: expected", lines.len() + 1)],
    );
}

#[test]
fn what_a_playback_takes_from_its_trace_cannot_be_given_beside_it() {
    let place = Place::new();
    for more in [&["--seed", "2"][..], &["--defect", "W03"], &["--link-faults", "1"]] {
        let arguments = [&["rehearse", "wall_unit/quick_check", "--playback", "t.trace"], more].concat();
        assert!(place.run(&arguments).exits(2).err.contains("cannot be used with"));
    }
    place
        .run(&["rehearse", "wall_unit/quick_check", "--playback", "nowhere"])
        .refused(&["nowhere"]);
}

/// Whatever happens to the replies: never a wrong pass in silence, always sealed, and the same seed does the same.
#[test]
fn disturbed_links_end_honestly_and_the_same_way_each_time() {
    let undisturbed = traced(&Place::new(), &[]).exits(0).json()["steps"].clone();
    let (mut harmed, mut passed) = (0, 0);
    for (seed, one_in) in [("1", "300"), ("2", "300"), ("3", "300"), ("4", "300"), ("2", "1000")] {
        let run = |place: &Place| {
            let arguments = ["--link-faults", seed, "--one-fault-in", one_in];
            let ran = traced(place, &arguments);
            assert!(
                [0, 3, 4, 5, 6].contains(&ran.code),
                "a bad link is no bad item, and no refusal: {ran:#?}"
            );
            if ran.code == 0 {
                assert_eq!(ran.json()["steps"], undisturbed, "seed {seed}");
            }
            assert!(ran.err.contains("replies disturbed"), "{}", ran.err);
            place.run(&["verify", "r"]).exits(0);
            ran
        };
        let (first, second) = (Place::new(), Place::new());
        let ran = run(&first);
        run(&second);
        assert!(files(first.path()) == files(second.path()), "seed {seed} differs");
        let journal = std::fs::read_to_string(first.path().join("r/journal.txt")).unwrap();
        assert!(
            journal.lines().next().unwrap().contains("with faults, seed"),
            "not said in the record"
        );
        harmed += u32::from(ran.code != 0);
        passed += u32::from(ran.code == 0 && !ran.err.contains(": 0 replies disturbed"));
    }
    assert!(harmed > 0, "no fault did any harm: this test cannot fail");
    assert!(passed > 0, "no disturbed run passed: no verdicts were compared");
}

/// A mistyped name must not cost a sequence or a record.
#[test]
fn a_trace_is_not_written_over_anything_else() {
    let place = Place::new();
    let file = place.write("mine.yaml", "pilotage: sequence/1\n");
    let ran = place
        .run(&[
            "rehearse",
            "wall_unit/quick_check",
            "--no-pdf",
            "--out",
            "r",
            "--trace",
            &file,
        ])
        .exits(2);
    assert!(
        ran.err.contains("is no trace") && ran.err.contains("--trace"),
        "{}",
        ran.err
    );
    assert_eq!(
        std::fs::read_to_string(place.path().join("mine.yaml")).unwrap(),
        "pilotage: sequence/1\n"
    );
    assert!(!place.path().join("r").exists());
}
