//! Wrong and hostile files through the binary: each exits 2 with line, column and mend, in both forms, without a panic and
//! within a second; and every code of fitting occurs.

use crate::support::{Place, Ran, repository, snapshot};
use pilotage_plan::fit::code::FITTING;
use std::collections::BTreeSet;
use std::time::{Duration, Instant};

/// Names of the bad files, without their ending.
fn bad_files() -> Vec<String> {
    let entries = std::fs::read_dir(repository("tests/bad-files")).unwrap();
    let paths = entries.map(|entry| entry.unwrap().path()).filter(|path| path.is_file());
    let mut names: Vec<String> = paths
        .map(|path| path.file_stem().unwrap().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

/// In the folder of the bad files, so that their names are short and the files beside them are found.
fn check(arguments: &[&str]) -> (Ran, Duration) {
    let began = Instant::now();
    let output = assert_cmd::Command::new(crate::support::binary())
        .current_dir(repository("tests/bad-files"))
        .args(arguments)
        .output()
        .unwrap();
    let took = began.elapsed();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    let code = output.status.code().expect("no signal");
    (
        Ran {
            code,
            out: text(output.stdout),
            err: text(output.stderr),
        },
        took,
    )
}

/// A good file of another kind than wanted is wrong only where a sequence is wanted.
fn verb(name: &str) -> &'static str {
    if name.starts_with("P023") { "rehearse" } else { "check" }
}

/// A busy machine may hold a process up, so the best of three counts.
fn in_time(arguments: &[&str]) -> Ran {
    let runs = (0..3).map(|_| check(arguments));
    runs.into_iter()
        .find(|(_, took)| *took < Duration::from_secs(1))
        .unwrap_or_else(|| panic!("{arguments:?}: slow"))
        .0
}

fn no_panic(ran: &Ran) {
    assert!(
        !ran.err.contains("panicked") && !ran.err.contains("program itself"),
        "{ran:#?}"
    );
}

/// `file:line:column: error[CODE]: message; …; mend`: its code.
#[track_caller]
fn short_line(line: &str) -> String {
    let (place, rest) = line.split_once(": error[").unwrap_or_else(|| panic!("{line}"));
    let mut parts = place.rsplit(':');
    let numbers: Vec<u32> = parts.by_ref().take(2).map(|number| number.parse().unwrap()).collect();
    assert!(numbers.iter().all(|number| *number >= 1), "{line}");
    let (code, message) = rest.split_once("]: ").unwrap();
    assert!(message.contains("; ") && !message.ends_with("; "), "no mend: {line}");
    code.to_owned()
}

#[test]
fn the_full_form_shows_line_column_and_mend() {
    let files = bad_files();
    assert!(files.len() >= 40, "only {} bad files", files.len());
    for name in files {
        let path = format!("{name}.yaml");
        let ran = in_time(&[verb(&name), &path]);
        no_panic(&ran);
        assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{name}: {ran:#?}");
        for part in [&format!("error[{}]", &name[..4]), "--> ", "= help: "] {
            assert!(ran.err.contains(part), "{name}: no {part:?}: {}", ran.err);
        }
    }
}

#[test]
fn the_short_form_is_one_line_for_each_problem() {
    for name in bad_files().into_iter().filter(|name| verb(name) == "check") {
        let ran = in_time(&["check", "--short", &format!("{name}.yaml")]);
        no_panic(&ran);
        assert_eq!((ran.code, ran.err.as_str()), (2, ""), "{name}: {ran:#?}");
        let codes: Vec<String> = ran.out.lines().map(short_line).collect();
        assert!(codes.iter().any(|code| *code == name[..4]), "{name}: {codes:?}");
    }
}

#[test]
fn every_code_of_fitting_has_a_file_with_that_mistake_alone() {
    let mut met = BTreeSet::new();
    for name in bad_files().into_iter().filter(|name| name.starts_with('F')) {
        let (ran, _) = check(&["check", "--json", &format!("{name}.yaml")]);
        let problems = ran.exits(2).json_lines();
        assert_eq!(problems.len(), 1, "{name}: {problems:#?}");
        let problem = &problems[0];
        assert_eq!(problem["code"], name[..4], "{problem:#}");
        for key in ["expected", "got", "mend", "message", "file"] {
            assert!(
                problem[key].as_str().is_some_and(|text| !text.is_empty()),
                "{name}: no {key}: {problem:#}"
            );
        }
        assert!(
            problem["line"].as_u64() >= Some(1) && problem["column"].as_u64() >= Some(1),
            "{problem:#}"
        );
        met.insert(name[..4].to_owned());
    }
    let missing: Vec<&str> = FITTING
        .iter()
        .map(|code| code.id)
        .filter(|id| !met.contains(*id))
        .collect();
    assert!(missing.is_empty(), "no bad file gives {missing:?}");
}

#[test]
fn how_problems_of_fitting_look() {
    for name in ["F003_unknown_point", "F018_bare_mains", "F023_hands_while_live"] {
        let path = format!("{name}.yaml");
        let (full, short) = (check(&["check", &path]).0, check(&["check", "--short", &path]).0);
        snapshot(name, &format!("{}\n{}", full.err, short.out));
    }
}

#[test]
fn files_that_are_no_files_are_refused_in_time() {
    let place = Place::new();
    let huge = "a: b\n".repeat(20_000_000 / 5);
    place.write("huge.yaml", huge);
    place.write("deep.yaml", "[".repeat(900_000));
    place.write("empty.yaml", "");
    std::fs::create_dir(place.path().join("folder.yaml")).unwrap();
    for name in [
        "huge.yaml",
        "deep.yaml",
        "empty.yaml",
        "folder.yaml",
        "nowhere.yaml",
        "/dev/null",
    ] {
        for verb in [
            vec!["check", name],
            vec!["check", "--short", name],
            vec!["rehearse", name],
        ] {
            let began = Instant::now();
            let ran = place.run(&verb).exits(2);
            no_panic(&ran);
            assert!(began.elapsed() < Duration::from_secs(3), "{verb:?}");
        }
    }
}
