//! From a verdict that the PDF prints to its limit's file, clause, status and the raw reply: no missing link, for every
//! judgement of a real rehearsal.
#![allow(clippy::unwrap_used)]

use pilotage_evidence::document::{Document, Row};
use pilotage_evidence::{Record, SourceStatus};
use std::path::Path;
use std::process::Command;

/// A rehearsal by the real binary: its document and the PDF's text in the order of its cells.
fn rehearsed(arguments: &[&str], code: i32) -> (Document, String) {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out");
    let done = Command::new(env!("CARGO_BIN_EXE_pilotage"))
        .arg("rehearse")
        .args(arguments)
        .arg("--out")
        .arg(&out)
        .output();
    assert_eq!(done.unwrap().status.code(), Some(code), "{arguments:?}");
    let record = Record::open(&out).unwrap();
    let document =
        pilotage::rehearsal::document(&record).unwrap_or_else(|_| panic!("no document of {}", out.display()));
    let text = text_of(&out.join("reports").join(format!("{}.pdf", document.run)));
    (document, text)
}

fn text_of(pdf: &Path) -> String {
    let out = Command::new("pdftotext").arg("-raw").arg(pdf).arg("-").output();
    squeezed(&String::from_utf8(out.expect("pdftotext is installed: `tests/run tools` does it").stdout).unwrap())
}

/// Where a page ends.
const PAGE: char = '\u{C}';

/// Without blanks, line ends and places to break: a cell may break its lines anywhere. The ends of pages stay.
fn squeezed(text: &str) -> String {
    text.chars()
        .filter(|c| *c == PAGE || (!c.is_whitespace() && *c != '\u{200B}'))
        .collect()
}

/// Whether a text stands there: in one piece, or the end of a page within it.
fn stands(near: &str, wanted: &str) -> bool {
    let Some(page) = near.find(PAGE) else {
        return near.contains(wanted);
    };
    let (before, after) = near.split_at(page);
    let both_parts = |cut: usize| before.contains(&wanted[..cut]) && after.contains(&wanted[cut..]);
    near.contains(wanted) || (1..wanted.len()).any(|cut| wanted.is_char_boundary(cut) && both_parts(cut))
}

fn head_of(row: &Row) -> String {
    squeezed(&format!(
        "{} · {} · {} · {} · {}",
        row.title, row.limit, row.key, row.place, row.source
    ))
}

/// Where the line of a judgement begins in the annex.
fn line_of(annex: &str, step: &str, row: &Row) -> Option<usize> {
    let pass = row.pass.as_ref().map(|pass| format!(" · {pass}")).unwrap_or_default();
    annex.find(&squeezed(&format!("{}{step}{}{pass}{}", row.seq, row.name, row.value)))
}

fn missing_links(document: &Document, text: &str) -> (usize, Vec<String>) {
    let title = squeezed("Annex: from each verdict to its source and its raw reply");
    let annex = &text[text.rfind(&title).expect("the annex has its title")..];
    let heads: Vec<String> = document.steps.iter().flat_map(|step| &step.rows).map(head_of).collect();
    let (mut walked, mut missing) = (0, Vec::new());
    for (step, row) in document
        .steps
        .iter()
        .flat_map(|step| step.rows.iter().map(move |row| (step, row)))
    {
        walked += 1;
        let name = format!("line {}: {} {}", row.seq, step.id, row.name);
        let Some(line) = line_of(annex, &step.id, row) else {
            missing.push(format!("{name}: no line"));
            continue;
        };
        // The limit that the line stands below is the nearest head before it.
        let nearest = heads
            .iter()
            .filter_map(|head| Some((annex[..line].rfind(head)?, head)))
            .max();
        let head = nearest.map(|(_, head)| head.as_str()).unwrap_or_default();
        let status = squeezed(&row.status.to_string());
        if head != head_of(row) || !head.contains(&squeezed(&row.place)) || !head.contains(&status) {
            missing.push(format!("{name}: limit, place or status"));
        }
        let source = document.sources.iter().find(|source| source.line == row.source);
        let clause = source.is_some_and(|source| row.source.contains(&source.clause) && !source.clause.is_empty());
        if !clause && row.status != SourceStatus::CommonPractice {
            missing.push(format!("{name}: clause"));
        }
        if !has_reply(&annex[line..], row) {
            missing.push(format!("{name}: raw reply"));
        }
    }
    (walked, missing)
}

/// The last reply carries the value. A value that no instrument gave says so.
fn has_reply(from_line: &str, row: &Row) -> bool {
    let near: String = from_line.chars().take(2000).collect();
    match row
        .raw
        .iter()
        .rev()
        .find_map(|raw| raw.received.as_ref().map(|received| (raw, received)))
    {
        Some((raw, received)) => stands(&near, &squeezed(&format!("{} → {received}", raw.sent))),
        None => near.contains(&squeezed("no instrument replied for this value")),
    }
}

#[test]
fn every_verdict_of_a_failed_rehearsal_leads_to_its_limit_and_reply() {
    let (document, text) = rehearsed(&["wall_unit/quick_check", "--defect", "W03"], 1);
    let (walked, missing) = missing_links(&document, &text);
    assert!(walked >= 40, "{walked}");
    assert!(missing.is_empty(), "{missing:#?}");
}

#[test]
fn every_verdict_of_the_acceptance_leads_to_its_limit_and_reply() {
    let (document, text) = rehearsed(&["wall_unit/acceptance_single_phase"], 0);
    let (walked, missing) = missing_links(&document, &text);
    assert!(walked >= 150, "{walked}");
    assert!(missing.is_empty(), "{missing:#?}");
}

#[test]
fn a_missing_link_is_noticed() {
    let (document, text) = rehearsed(&["wall_unit/quick_check", "--defect", "W17"], 1);
    assert_eq!(missing_links(&document, &text).1, Vec::<String>::new());
    let row = document.steps.iter().flat_map(|step| &step.rows).next_back().unwrap();
    let reply = squeezed(row.raw.last().unwrap().received.as_ref().unwrap());
    let line = row.seq.to_string();
    let annex = text.rfind(&line).unwrap();
    let broken = format!("{}{}", &text[..annex], text[annex..].replacen(&reply, "gone", 1));
    assert_eq!(missing_links(&document, &broken).1.len(), 1);
}
