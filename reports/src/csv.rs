//! One row a judgement, harmless for any spreadsheet: RFC 4180, a point as decimal sign, numbers apart from their unit.

use crate::text::{for_cell, for_number};
use pilotage_evidence::Verdict;
use pilotage_evidence::document::{Document, Row, StepPart};

/// Titles of the columns.
const HEAD: [&str; 22] = [
    "run",
    "item serial",
    "virtual",
    "step",
    "step title",
    "reading",
    "pass",
    "value",
    "expanded uncertainty",
    "unit",
    "lower bound",
    "upper bound",
    "margin",
    "risk",
    "verdict",
    "marks",
    "limit",
    "limit stands in",
    "source",
    "status",
    "journal line",
    "raw reply",
];

/// The text of the CSV file.
pub fn csv(document: &Document) -> String {
    let mut lines = vec![HEAD.map(for_cell).join(",")];
    for step in &document.steps {
        lines.extend(step.rows.iter().map(|row| line(document, step, row)));
        if step.rows.is_empty() {
            lines.push(bare(document, step));
        }
    }
    lines.push(String::new());
    lines.join("\r\n")
}

fn line(document: &Document, step: &StepPart, row: &Row) -> String {
    let numbers = &row.numbers;
    let raw: Vec<&str> = row
        .raw
        .iter()
        .filter_map(|raw| raw.received.as_deref())
        .take(4)
        .collect();
    let cells = [
        for_cell(&document.run),
        for_cell(&document.item.serial),
        for_cell(document.virtual_note.as_deref().unwrap_or("")),
        for_cell(&step.id),
        for_cell(&step.title),
        for_cell(&row.name),
        for_cell(row.pass.as_deref().unwrap_or("")),
        for_number(numbers.value),
        for_number(numbers.expanded),
        for_cell(&row.unit),
        for_number(numbers.low),
        for_number(numbers.high),
        for_number(numbers.margin),
        for_number(numbers.risk),
        word(row.verdict).to_owned(),
        for_cell(&row.marks.join("; ")),
        for_cell(&row.key),
        for_cell(&row.place),
        for_cell(&row.source),
        for_cell(&row.status.to_string()),
        row.seq.to_string(),
        for_cell(&raw.join(" | ")),
    ];
    cells.join(",")
}

/// A step that judged nothing still has a row.
fn bare(document: &Document, step: &StepPart) -> String {
    let mut cells = vec![String::new(); HEAD.len()];
    cells[0] = for_cell(&document.run);
    cells[1] = for_cell(&document.item.serial);
    cells[2] = for_cell(document.virtual_note.as_deref().unwrap_or(""));
    cells[3] = for_cell(&step.id);
    cells[4] = for_cell(&step.title);
    word(step.verdict).clone_into(&mut cells[14]);
    cells[15] = for_cell(step.because.as_deref().unwrap_or(""));
    cells.join(",")
}

fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "pass",
        Verdict::Fail => "fail",
        Verdict::Inconclusive => "inconclusive",
        Verdict::Error => "error",
        Verdict::NotRun => "not run",
    }
}
