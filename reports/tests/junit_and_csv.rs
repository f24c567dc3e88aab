//! The JUnit and CSV files as a reader in CI and a spreadsheet get them, read back by other people's or written-out rules.
#![allow(clippy::unwrap_used)]

#[path = "../../engine/evidence/tests/common/mod.rs"]
mod common;

use pilotage_evidence::Verdict;
use pilotage_evidence::document::{Document, build};
use pilotage_reports::csv::csv;
use pilotage_reports::junit::junit;
use proptest::prelude::*;
use std::collections::BTreeSet;
use std::sync::LazyLock;

static DOCUMENT: LazyLock<Document> = LazyLock::new(|| {
    let folder = tempfile::tempdir().unwrap();
    build(&common::run(folder.path()), &[])
});

fn xml(document: &Document) -> String {
    String::from_utf8(junit(document).unwrap()).unwrap()
}

/// Class, name, and `None` or the result's element and type.
type Case = (String, String, Option<(String, String)>);

/// Every case of a file.
fn outcomes(text: &str) -> Vec<Case> {
    let tree = roxmltree::Document::parse(text).unwrap();
    let cases = tree.descendants().filter(|node| node.has_tag_name("testcase"));
    let outcome = |node: roxmltree::Node| {
        let result = node.children().find(|child| {
            ["failure", "error", "skipped"]
                .iter()
                .any(|name| child.has_tag_name(*name))
        })?;
        Some((
            result.tag_name().name().to_owned(),
            result.attribute("type").unwrap_or("").to_owned(),
        ))
    };
    cases
        .map(|node| {
            let attribute = |name: &str| node.attribute(name).unwrap_or("").to_owned();
            (attribute("classname"), attribute("name"), outcome(node))
        })
        .collect()
}

/// A document in which every judgement and its step have one verdict.
fn all(verdict: Verdict) -> Document {
    let mut document = DOCUMENT.clone();
    document.verdict = verdict;
    for step in &mut document.steps {
        step.verdict = verdict;
        step.does_not_apply = false;
        for row in &mut step.rows {
            row.verdict = verdict;
        }
    }
    document
}

/// A fail is a `failure`; error, inconclusive and not run are an `error`; only what does not apply is `skipped`.
#[test]
fn every_verdict_has_its_outcome() {
    for (verdict, outcome) in [
        (Verdict::Pass, None),
        (Verdict::Fail, Some(("failure", "fail"))),
        (Verdict::Error, Some(("error", "error"))),
        (Verdict::Inconclusive, Some(("error", "inconclusive"))),
        (Verdict::NotRun, Some(("error", "not_run"))),
    ] {
        let cases = outcomes(&xml(&all(verdict)));
        assert!(cases.len() > 4);
        let wanted = outcome.map(|(element, kind)| (element.to_owned(), kind.to_owned()));
        for (class, name, got) in cases {
            assert_eq!(got, wanted, "{verdict:?}: {class} {name}");
        }
    }
}

#[test]
fn only_what_does_not_apply_is_skipped() {
    let cases = outcomes(&xml(&DOCUMENT));
    let skipped: Vec<&str> = cases
        .iter()
        .filter(|(_, _, outcome)| outcome.as_ref().is_some_and(|(element, _)| element == "skipped"))
        .map(|(class, _, _)| class.as_str())
        .collect();
    let not_applying: Vec<&str> = DOCUMENT
        .steps
        .iter()
        .filter(|step| step.does_not_apply)
        .map(|step| step.id.as_str())
        .collect();
    assert_eq!(skipped, not_applying);
    assert_eq!(skipped.len(), 1);
}

#[test]
fn a_step_that_failed_without_a_failed_judgement_is_not_green() {
    let mut document = all(Verdict::Pass);
    document.steps[0].verdict = Verdict::Error;
    document.steps[0].because = Some("the meter did not answer".to_owned());
    let id = document.steps[0].id.clone();
    let cases = outcomes(&xml(&document));
    assert!(
        cases
            .iter()
            .any(|(class, _, outcome)| *class == id && outcome.as_ref().is_some_and(|(e, _)| e == "error"))
    );
}

#[test]
fn a_run_that_did_not_pass_is_not_green_although_its_steps_are() {
    let mut document = all(Verdict::Pass);
    document.verdict = Verdict::Error;
    document.said_first = vec!["NOT CONFIRMED DEAD.".to_owned()];
    let cases = outcomes(&xml(&document));
    assert!(
        cases
            .iter()
            .any(|(class, _, outcome)| class == "run" && outcome.is_some())
    );
}

#[test]
fn names_are_unique_although_rows_are_alike() {
    let mut document = DOCUMENT.clone();
    let row = document.steps[0].rows[0].clone();
    document.steps[0].rows.extend([row.clone(), row]);
    let twin = document.steps[0].clone();
    document.steps.push(twin);
    let cases = outcomes(&xml(&document));
    let names: BTreeSet<(&str, &str)> = cases
        .iter()
        .map(|(class, name, _)| (class.as_str(), name.as_str()))
        .collect();
    assert_eq!(names.len(), cases.len());
}

/// What the sequence never covers is text; what it would have done on another bench is a case that was skipped.
#[test]
fn a_step_that_the_bench_leaves_out_is_skipped() {
    let mut document = all(Verdict::Pass);
    let before = outcomes(&xml(&document)).len();
    document.not_tested[0].left_out = true;
    let cases = outcomes(&xml(&document));
    let skipped = |(class, _, outcome): &&Case| {
        *class == document.not_tested[0].what && outcome.as_ref().is_some_and(|(element, _)| element == "skipped")
    };
    assert_eq!((cases.len(), cases.iter().filter(skipped).count()), (before + 1, 1));
}

/// The common schema (`junit-10.xsd`) allows three decimals.
#[test]
fn times_have_at_most_three_decimals() {
    let mut document = DOCUMENT.clone();
    for step in &mut document.steps {
        step.length_s = Some(144.700_000_004 / 7.0);
    }
    let text = xml(&document);
    let tree = roxmltree::Document::parse(&text).unwrap();
    let times: Vec<&str> = tree.descendants().filter_map(|node| node.attribute("time")).collect();
    assert!(times.len() > 4);
    assert!(
        times
            .iter()
            .all(|time| time.split_once('.').is_none_or(|(_, decimals)| decimals.len() <= 3)),
        "{times:?}"
    );
}

#[test]
fn the_file_says_that_no_item_was_tested() {
    assert!(xml(&DOCUMENT).contains("virtual bench, no item was tested"));
}

/// Every text that comes from outside, replaced.
fn with_text(text: &str) -> Document {
    let mut document = DOCUMENT.clone();
    let put = |slot: &mut String| text.clone_into(slot);
    put(&mut document.title);
    put(&mut document.item.title);
    put(&mut document.item.serial);
    put(&mut document.run);
    for step in &mut document.steps {
        put(&mut step.id);
        put(&mut step.title);
        step.because = Some(text.to_owned());
        step.verdict = Verdict::Fail;
        for row in &mut step.rows {
            row.verdict = Verdict::Fail;
            for slot in [
                &mut row.name,
                &mut row.title,
                &mut row.value,
                &mut row.source,
                &mut row.place,
                &mut row.key,
            ] {
                text.clone_into(slot);
            }
            for raw in &mut row.raw {
                raw.received = Some(text.to_owned());
            }
        }
    }
    document
}

fn hostile() -> impl Strategy<Value = String> {
    prop_oneof![
        any::<String>(),
        "[\\x00-\\x1f\\x7f-\\x9f<>&\"']{0,12}",
        "[=+@\\-\t\r\n,;\"'a]{0,12}",
        Just("]]><x/>&#0;".to_owned()),
        Just("a\u{FFFE}\u{FFFF}\u{202E}\u{0}".to_owned()),
    ]
}

/// RFC 4180, section 2, read back by its rules: fields in quotes may hold separators, quotes are doubled.
fn parse_csv(text: &str) -> Vec<Vec<String>> {
    let (mut records, mut record, mut field) = (Vec::new(), Vec::new(), String::new());
    let mut chars = text.chars().peekable();
    let (mut quoted, mut closed) = (false, false);
    while let Some(c) = chars.next() {
        match c {
            '"' if quoted && chars.peek() == Some(&'"') => field.push(chars.next().unwrap()),
            '"' if quoted => (quoted, closed) = (false, true),
            _ if quoted => field.push(c),
            '"' => {
                assert!(field.is_empty() && !closed, "a quote within a bare field");
                quoted = true;
            }
            ',' => {
                record.push(std::mem::take(&mut field));
                closed = false;
            }
            '\r' => {
                assert_eq!(chars.next(), Some('\n'), "a line ends with CR LF");
                record.push(std::mem::take(&mut field));
                records.push(std::mem::take(&mut record));
                closed = false;
            }
            '\n' => panic!("a bare line feed"),
            _ => {
                assert!(!closed, "text after a closing quote");
                field.push(c);
            }
        }
    }
    assert!(
        !quoted && record.is_empty() && field.is_empty(),
        "the file ends with a line's end"
    );
    records
}

#[test]
fn a_csv_row_has_the_figures_of_its_judgement() {
    let records = parse_csv(&csv(&DOCUMENT));
    let column = |name: &str| records[0].iter().position(|title| title == name).unwrap();
    let rows: Vec<_> = DOCUMENT.steps.iter().flat_map(|step| &step.rows).collect();
    for row in rows {
        let line = row.seq.to_string();
        let record = records
            .iter()
            .find(|record| record[column("journal line")] == line)
            .unwrap();
        assert_eq!(record[column("value")].parse::<f64>().ok(), row.numbers.value);
        assert_eq!(record[column("upper bound")].parse::<f64>().ok(), row.numbers.high);
        assert_eq!(record[column("limit stands in")], row.place);
        assert_eq!(record[column("status")], row.status.to_string());
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn junit_stays_well_formed_whatever_the_texts(text in hostile()) {
        let document = with_text(&text);
        let cases = outcomes(&xml(&document));
        let names: BTreeSet<_> = cases.iter().map(|(class, name, _)| (class, name)).collect();
        prop_assert_eq!(names.len(), cases.len());
        prop_assert!(cases.iter().all(|(_, _, outcome)| outcome.is_some()));
    }

    #[test]
    fn csv_reads_back_and_holds_no_formula(text in hostile()) {
        let document = with_text(&text);
        let records = parse_csv(&csv(&document));
        prop_assert!(records.iter().all(|record| record.len() == records[0].len()));
        for cell in records.iter().flatten() {
            let number = cell.parse::<f64>().is_ok();
            prop_assert!(number || !cell.trim_start().starts_with(['=', '+', '-', '@', '\t', '\r']), "{:?}", cell);
        }
    }
}
