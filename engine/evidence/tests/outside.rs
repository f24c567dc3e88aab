//! Two checkers that share no code with this program agree with it: Python's `hashlib`, and the shell script of the
//! documentation with `sha256sum`.
#![cfg(unix)]
#![allow(clippy::unwrap_used)]

mod common;

use std::fs;
use std::path::Path;
use std::process::{Command, Output};
use tempfile::tempdir;

const PYTHON: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/outside/journal_chain.py");

fn python(folder: &Path) -> Output {
    let output = Command::new("python3").arg(PYTHON).arg(folder).output();
    output.expect("this test needs python3 in the path")
}

/// The script between the marks of the documentation, as a reader would copy it.
fn documented_script() -> String {
    let source = include_str!("../src/record/mod.rs");
    let (_, rest) = source.split_once("//! ```sh\n").unwrap();
    let (script, _) = rest.split_once("//! ```").unwrap();
    let lines = script.lines().map(|line| line.trim_start_matches("//!").trim_start());
    lines.collect::<Vec<_>>().join("\n")
}

fn shell(folder: &Path) -> Output {
    let output = Command::new("sh")
        .arg("-c")
        .arg(documented_script())
        .current_dir(folder)
        .output();
    output.expect("this test needs sh and sha256sum in the path")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).trim().to_owned()
}

#[test]
fn both_find_the_same_last_hash() {
    let folder = tempdir().unwrap();
    let record = common::run(folder.path());
    let output = python(folder.path());
    assert_eq!(
        (output.status.code(), text(&output.stdout)),
        (Some(0), record.head().to_owned()),
        "{}",
        text(&output.stderr)
    );
    let output = shell(folder.path());
    let wanted = format!("{} lines hold, last hash {}", record.events().len(), record.head());
    assert_eq!(
        (output.status.code(), text(&output.stdout)),
        (Some(0), wanted),
        "{}",
        text(&output.stderr)
    );
}

#[test]
fn both_name_the_line_that_was_altered() {
    let folder = tempdir().unwrap();
    common::write_run(folder.path());
    let journal = folder.path().join("journal.txt");
    let whole = fs::read_to_string(&journal).unwrap();
    let lines: Vec<&str> = whole.split_inclusive('\n').collect();
    for number in [1, 7, lines.len()] {
        let mut changed: Vec<String> = lines.iter().map(|line| (*line).to_owned()).collect();
        changed[number - 1] = changed[number - 1].replacen(":1", ":2", 1).replacen(":0", ":9", 1);
        assert_ne!(changed.concat(), whole);
        fs::write(&journal, changed.concat()).unwrap();
        let output = python(folder.path());
        assert_eq!(output.status.code(), Some(1));
        assert!(
            text(&output.stderr).contains(&format!("line {number}:")),
            "{}",
            text(&output.stderr)
        );
        let output = shell(folder.path());
        assert_eq!(
            (output.status.code(), text(&output.stdout)),
            (Some(1), format!("line {number} was altered"))
        );
    }
}

#[test]
fn the_seal_is_checked_from_outside_too() {
    let folder = tempdir().unwrap();
    common::write_run(folder.path());
    fs::write(
        folder.path().join("inputs/00-sequence-quick.yaml"),
        b"pilotage: sequence/2\n",
    )
    .unwrap();
    let output = python(folder.path());
    assert!(output.status.code() == Some(1) && text(&output.stderr).contains("inputs/00-sequence-quick.yaml"));
}
