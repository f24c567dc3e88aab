//! Bad files: one tiny file for every problem, each refused in time, with its place and its mend, just as people see it.

#![allow(clippy::unwrap_used)]

use pilotage_plan::problem::{Problem, code, tables};
use pilotage_plan::render::{Form, render_all, title};
use pilotage_plan::{lower, read_bytes};
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::time::{Duration, Instant};

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/bad-files")
}

/// Name and bytes of every bad file of this stage (`P…`), in order.
fn bad_files() -> Vec<(String, Vec<u8>)> {
    let mut all: Vec<(String, Vec<u8>)> = std::fs::read_dir(folder())
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "yaml"))
        .map(|path| {
            (
                path.file_name().unwrap().to_string_lossy().into_owned(),
                std::fs::read(&path).unwrap(),
            )
        })
        .filter(|(name, _)| name.starts_with('P'))
        .collect();
    all.sort();
    all
}

fn refuse(name: &str, bytes: &[u8]) -> Vec<Problem> {
    let started = Instant::now();
    let problems = if name.starts_with(code::OTHER_KIND) {
        let text = std::str::from_utf8(bytes).unwrap();
        lower::read::read_sequence(name, text).map(|_| ()).unwrap_err()
    } else {
        read_bytes(name, bytes).map(|_| ()).unwrap_err()
    };
    let took = started.elapsed();
    assert!(took < Duration::from_secs(1), "{name} took {took:?}");
    problems
}

fn rendered(problems: &[Problem], bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    // Where the text is not UTF-8, offsets do not fit it and nothing of it is shown.
    let shown = std::str::from_utf8(bytes).is_ok().then_some(text.as_ref());
    format!(
        "{}\n\n{}",
        render_all(problems, &|_| shown, Form::Plain),
        render_all(problems, &|_| shown, Form::Short)
    )
}

fn has_place_and_mend(name: &str, problem: &Problem) {
    assert!(
        problem.span.line >= 1 && problem.span.column >= 1,
        "{name}: {problem:?}"
    );
    assert!(
        problem.mend.as_ref().is_some_and(|m| !m.is_empty()),
        "{name}: no mend: {problem:?}"
    );
    assert!(title(problem.code).is_some(), "{name}: {} is in no table", problem.code);
}

#[test]
fn every_bad_file_is_refused_as_its_name_says() {
    let files = bad_files();
    assert!(files.len() >= 40, "only {} bad files", files.len());
    for (name, bytes) in &files {
        let problems = refuse(name, bytes);
        for problem in &problems {
            has_place_and_mend(name, problem);
        }
        let codes: Vec<&str> = problems.iter().map(|p| p.code).collect();
        assert!(codes.contains(&&name[..4]), "{name} gives {codes:?}");
    }
}

#[test]
fn every_bad_file_looks_as_it_did() {
    let mut settings = insta::Settings::clone_current();
    settings.set_omit_expression(true);
    settings.set_prepend_module_to_snapshot(false);
    settings.set_snapshot_path("snapshots/bad_files");
    settings.bind(|| {
        for (name, bytes) in bad_files() {
            let shown = rendered(&refuse(&name, &bytes), &bytes);
            insta::assert_snapshot!(name.trim_end_matches(".yaml"), shown);
        }
    });
}

#[test]
fn every_code_has_a_bad_file() {
    let mut met: BTreeSet<&str> = BTreeSet::new();
    for (name, bytes) in bad_files() {
        met.extend(refuse(&name, &bytes).iter().map(|p| p.code));
    }
    for (name, bytes) in hostile() {
        met.extend(refuse(name, &bytes).iter().map(|p| p.code));
    }
    let missing: Vec<&str> = code::READING
        .iter()
        .map(|c| c.id)
        .filter(|id| !met.contains(id))
        .collect();
    assert!(missing.is_empty(), "no bad file gives {missing:?}");
}

/// Files too large to be kept as files.
fn hostile() -> Vec<(&'static str, Vec<u8>)> {
    let map = |n: usize, line: &dyn Fn(usize) -> String| (0..n).map(line).collect::<String>();
    vec![
        (
            "huge scalar",
            format!("pilotage: item/1\ntitle: {}\n", "x".repeat(2_000_000)).into_bytes(),
        ),
        ("brackets", "[".repeat(100_000).into_bytes()),
        ("braces", "{a: ".repeat(100_000).into_bytes()),
        ("dashes", "- ".repeat(100_000).into_bytes()),
        ("question marks", "? ".repeat(100_000).into_bytes()),
        (
            "deep blocks",
            map(700, &|i| format!("{}a:\n", " ".repeat(i))).into_bytes(),
        ),
        (
            "many keys",
            format!("pilotage: item/1\n{}", map(40_000, &|i| format!("k{i}: 1\n"))).into_bytes(),
        ),
        (
            "many entries",
            format!("pilotage: item/1\ntitle: [{}]", "1,".repeat(100_000)).into_bytes(),
        ),
        (
            "many nulls",
            format!("pilotage: item/1\ntitle: {{{}}}", map(20_000, &|i| format!("k{i},"))).into_bytes(),
        ),
        (
            "one long word",
            format!("pilotage: {}\n", "sequence".repeat(100_000)).into_bytes(),
        ),
        (
            "one long key",
            format!("pilotage: item/1\n{}: 1\n", "k".repeat(900)).into_bytes(),
        ),
        ("long expression", long_hold(&"1 s + ".repeat(100_000)).into_bytes()),
        ("deep expression", long_hold(&"(".repeat(200_000)).into_bytes()),
        (
            "anchors",
            format!("pilotage: item/1\n{}", map(9_000, &|i| format!("a{i}: &a{i} [x]\n"))).into_bytes(),
        ),
        ("quote", b"pilotage: \"".to_vec()),
        (
            "backslashes",
            format!("pilotage: \"{}\"", "\\\\".repeat(100_000)).into_bytes(),
        ),
        ("carriage returns", "pilotage: item/1\r".repeat(2_000).into_bytes()),
        (
            "block text",
            format!("pilotage: item/1\ntitle: |\n{}", "  x\n".repeat(100_000)).into_bytes(),
        ),
    ]
}

fn long_hold(expression: &str) -> String {
    format!(
        "pilotage: sequence/1\ntitle: T\nitem: wall_unit\nlimits: s\nsteps:\n  - step: one\n    id: WU-01\n    do:\n      - hold: {expression}\n"
    )
}

#[test]
fn hostile_files_are_refused_in_time() {
    for (name, bytes) in hostile() {
        let problems = refuse(name, &bytes);
        assert!(
            !problems.is_empty() && problems.len() <= 101,
            "{name}: {} problems",
            problems.len()
        );
        for problem in &problems {
            has_place_and_mend(name, problem);
        }
        let shown = rendered(&problems, &bytes);
        assert!(shown.len() < 200_000, "{name}: {} bytes are shown", shown.len());
    }
}

#[test]
fn all_problems_of_a_file_come_at_once_in_order() {
    let bytes = std::fs::read(folder().join("P030_many_at_once.yaml")).unwrap();
    let problems = refuse("P030_many_at_once.yaml", &bytes);
    let lines: Vec<u32> = problems.iter().map(|p| p.span.line).collect();
    assert_eq!(lines, [5, 8, 10, 11, 12], "{problems:#?}");
}

#[test]
fn columns_are_counted_in_characters_up_to_the_wrong_part() {
    let text = long_hold("\"$é + 2 Q\"");
    let problems = pilotage_plan::read("x", &text).unwrap_err();
    assert_eq!((problems[0].code, problems[0].span.line), (code::BAD_EXPRESSION, 9));
    assert!(
        text[problems[0].span.offset..].starts_with(['é', 'Q', '2', '$']),
        "{problems:?}"
    );
    let before = text[..problems[0].span.offset]
        .rsplit('\n')
        .next()
        .unwrap()
        .chars()
        .count();
    assert_eq!(problems[0].span.column as usize, before + 1);
}

#[test]
fn codes_are_unique_and_titled() {
    let all: Vec<_> = tables().iter().flat_map(|table| table.iter()).collect();
    let ids: BTreeSet<&str> = all.iter().map(|c| c.id).collect();
    assert_eq!(ids.len(), all.len(), "a code is used twice");
    assert!(all.iter().all(|c| c.id.len() == 4 && !c.title.is_empty()));
}

#[test]
fn nothing_a_terminal_obeys_is_shown() {
    let bytes = std::fs::read(folder().join("P003_escape.yaml")).unwrap();
    let shown = rendered(&refuse("P003\u{1b}[2J.yaml", &bytes), &bytes);
    assert!(!shown.contains('\u{1b}'), "{shown:?}");
    let styled = render_all(
        &refuse("x", &bytes),
        &|_| std::str::from_utf8(&bytes).ok(),
        Form::Styled,
    );
    assert!(
        !styled.contains("[31mred\u{1b}") && !styled.contains("\u{1b}[31mred"),
        "{styled:?}"
    );
}
