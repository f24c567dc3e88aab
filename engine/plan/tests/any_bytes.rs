//! Whatever the bytes: never a panic, always a place inside the file, and rendering holds.

#![allow(clippy::unwrap_used)]

use pilotage_plan::problem::Problem;
use pilotage_plan::render::{Form, render_all};
use pilotage_plan::{AnyFile, FileKind, read, read_bytes};
use proptest::prelude::*;

fn good(kind: FileKind) -> String {
    let path = format!("{}/tests/good/{}.yaml", env!("CARGO_MANIFEST_DIR"), kind.word());
    std::fs::read_to_string(path).unwrap()
}

fn holds(text: &str, result: Result<AnyFile, Vec<Problem>>) {
    let Err(problems) = result else { return };
    assert!(!problems.is_empty());
    let lines = text.split('\n').count() as u32;
    for problem in &problems {
        assert_ne!(problem.code, "P099", "table and lowering disagree: {problem:?}\n{text}");
        assert!(problem.mend.is_some(), "{problem:?}");
        let span = &problem.span;
        // A carriage return alone ends a line of YAML, too.
        let most = lines + text.matches('\r').count() as u32;
        assert!(
            (1..=most.max(1)).contains(&span.line) && span.column >= 1,
            "{problem:?}\n{text:?}"
        );
        assert!(span.offset <= text.len(), "{problem:?}");
    }
    for form in [Form::Plain, Form::Styled, Form::Short] {
        assert!(!render_all(&problems, &|_| Some(text), form).is_empty());
    }
}

fn yamlish() -> impl Strategy<Value = String> {
    let words = prop::sample::select(vec![
        "pilotage",
        ": ",
        "sequence/1",
        "item/1",
        "limits/1",
        "driver/1",
        "\n",
        "\n  ",
        "\n    - ",
        "- ",
        "{",
        "}",
        "[",
        "]",
        ", ",
        "&a ",
        "*a",
        "<<",
        "!tag ",
        "|",
        ">",
        "\"",
        "'",
        "#",
        "%YAML 1.1\n",
        "---\n",
        "...\n",
        "? ",
        "~",
        "null",
        "yes",
        "steps",
        "step",
        "do",
        "judge",
        "hold",
        "set",
        "read",
        "between",
        "within",
        "of",
        "by",
        "at_most",
        "status",
        "12 V",
        "35 %",
        "35 % of $x",
        "$x / 0 s",
        "°C",
        "µF",
        "é",
        "\t",
        "\r\n",
        "\u{feff}",
        "\u{85}",
        "\u{2028}",
        "1e999",
        "010",
        "\\",
        "\u{0}",
    ]);
    prop::collection::vec(words, 0..60).prop_map(|parts| parts.concat())
}

/// A good file with one stretch of it replaced.
fn damaged() -> impl Strategy<Value = String> {
    (
        prop::sample::select(FileKind::ALL.to_vec()),
        any::<prop::sample::Index>(),
        0usize..30,
        yamlish(),
    )
        .prop_map(|(kind, at, length, put)| {
            let text = good(kind);
            let characters: Vec<char> = text.chars().collect();
            let from = at.index(characters.len());
            let to = (from + length).min(characters.len());
            let put: String = put.chars().take(12).collect();
            let (before, after) = (&characters[..from], &characters[to..]);
            before.iter().collect::<String>() + &put + &after.iter().collect::<String>()
        })
}

/// A good file with one line lost.
fn shortened() -> impl Strategy<Value = String> {
    (
        prop::sample::select(FileKind::ALL.to_vec()),
        any::<prop::sample::Index>(),
    )
        .prop_map(|(kind, at)| {
            let text = good(kind);
            let lines: Vec<&str> = text.lines().collect();
            let lost = at.index(lines.len());
            let kept = lines
                .iter()
                .enumerate()
                .filter(|(n, _)| *n != lost)
                .map(|(_, line)| *line);
            kept.collect::<Vec<_>>().join("\n")
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn random_bytes(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let text = String::from_utf8_lossy(&bytes).into_owned();
        if std::str::from_utf8(&bytes).is_ok() {
            holds(&text, read_bytes("bytes", &bytes));
        } else {
            prop_assert_eq!(read_bytes("bytes", &bytes).unwrap_err()[0].code, "P001");
        }
    }

    #[test]
    fn random_yaml(text in yamlish()) {
        holds(&text, read("text", &text));
    }

    #[test]
    fn random_sequences(text in yamlish()) {
        let text = format!("pilotage: sequence/1\ntitle: T\nitem: wall_unit\nlimits: s\nsteps:\n  - step: one\n    id: WU-01\n    do:\n      - {text}");
        holds(&text, read("text", &text));
    }

    #[test]
    fn damaged_files(text in damaged()) {
        holds(&text, read("text", &text));
    }

    #[test]
    fn shortened_files(text in shortened()) {
        holds(&text, read("text", &text));
    }
}
