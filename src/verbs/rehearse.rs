//! `rehearse`: a sequence on the virtual bench, in virtual time, with record and reports.

use super::Context;
use crate::args::{Rehearse, VirtualItem};
use crate::failure::Failure;
use crate::fitting::{Fitted, Request, load};
use crate::folder::{Lines, Recorder, reports_folder, write_reports};
use crate::forecast::Forecast;
use crate::rehearsal::{self, Rehearsal, document};
use crate::screen;
use crate::text::harmless;
use crate::wiring::setup::{Given, setup, severity_word};
use pilotage_evidence::document::Document;
use pilotage_evidence::record::{CAPTURES, INPUTS, JOURNAL, REPORTS, RecordWriter, SEAL};
use pilotage_run::options::Outcome;
use serde_json::json;
use std::path::{Path, PathBuf};

/// Runs, seals, reports. The exit code is the run's.
pub(super) fn perform(arguments: &Rehearse, context: &mut Context<'_>) -> Result<u8, Failure> {
    let request = Request {
        sequence: &arguments.sequence,
        fitting: &arguments.fitting,
        defect: arguments.virtual_item.defect.as_deref(),
    };
    let fitted = load(request, &context.shelves)?;
    context.times.lap("load");
    let name = run_name(&arguments.sequence, &arguments.virtual_item);
    let out = arguments
        .out
        .clone()
        .unwrap_or_else(|| PathBuf::from("out").join(&name));
    vacate(&out, arguments.out.is_some())?;
    if !arguments.no_pdf {
        std::thread::spawn(pilotage_pdf::warm_up);
    }
    let outcome = run(&fitted, &arguments.virtual_item, &name, &out, context)?;
    let record = super::verify::open(&out)?;
    let document = document(&record)?;
    context.times.lap("document");
    let paths = write_reports(
        &document,
        &out,
        &reports_folder(&out),
        !arguments.no_pdf,
        &mut context.times,
    )?;
    say(&document, &out, &paths, context);
    Ok(outcome)
}

/// A record in the default folder is a rehearsal of ours and is made anew. A folder that somebody named, or that holds
/// something else, is left alone.
fn vacate(out: &Path, named: bool) -> Result<(), Failure> {
    if !named && out.join(JOURNAL).is_file() {
        return std::fs::remove_dir_all(out).map_err(|error| Failure::disk(out, &error));
    }
    must_be_free(out)
}

/// A record is never rewritten: its folder must be new, or empty.
pub(super) fn must_be_free(out: &Path) -> Result<(), Failure> {
    let holds = |name: &str| out.join(name).exists();
    if [JOURNAL, SEAL, INPUTS, CAPTURES, REPORTS].into_iter().any(holds) {
        return Err(Failure::usage(
            format!(
                "{} holds a record already, and a record is never rewritten",
                out.display()
            ),
            "give a new folder with --out",
        ));
    }
    if out.exists() && !out.is_dir() {
        return Err(Failure::usage(
            format!("{} is not a folder", out.display()),
            "give a new folder with --out",
        ));
    }
    Ok(())
}

fn run_name(sequence: &str, virtual_item: &VirtualItem) -> String {
    let stem = sequence
        .trim_end_matches(".yaml")
        .rsplit(['/', '\\'])
        .next()
        .unwrap_or("run");
    let defect = virtual_item
        .defect
        .as_ref()
        .map(|id| format!("-{}-{}", id.to_uppercase(), severity_word(virtual_item.severity)));
    let name = format!("{stem}{}-seed{}", defect.unwrap_or_default(), virtual_item.seed);
    name.chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() || c == '-' || c == '_' {
                c
            } else {
                '_'
            }
        })
        .collect()
}

fn run(
    fitted: &Fitted,
    virtual_item: &VirtualItem,
    name: &str,
    out: &Path,
    context: &mut Context<'_>,
) -> Result<u8, Failure> {
    let given = fitted.defect.as_ref().map(|defect| Given {
        defect,
        severity: virtual_item.severity,
    });
    let setup = setup(&fitted.item, given, virtual_item.seed)?;
    let record = start_record(fitted, out)?;
    let mut journal = Recorder::new(record, Lines::new(context.output, Forecast::of(&fitted.program)));
    let defect = given.map(|given| format!("{} {}", given.defect.id.value, severity_word(given.severity)));
    let rehearsal = Rehearsal {
        fitted,
        setup,
        seed: virtual_item.seed,
        defect,
        run: name.to_owned(),
    };
    let outcome = rehearsal::rehearse(&rehearsal, &mut journal);
    context.times.lap("run");
    let exit_code = close(outcome, journal.record, context)?;
    context.times.lap("seal");
    Ok(exit_code)
}

/// What could not be confirmed dead is said before anything else; then the record is sealed. A run that never began leaves
/// no record behind. Gives the exit code.
pub(super) fn close(
    outcome: Result<Outcome, Failure>,
    record: RecordWriter,
    context: &mut Context<'_>,
) -> Result<u8, Failure> {
    let outcome = match outcome {
        Ok(outcome) => outcome,
        Err(failure) => {
            discard(&record);
            return Err(failure);
        }
    };
    if let Some(by_hand) = &outcome.not_confirmed_dead {
        context.output.said_first(by_hand);
    }
    record
        .seal()
        .map_err(|error| Failure::broken(error.to_string(), error.mend))?;
    Ok(outcome.exit_code)
}

/// Takes away the inputs of a run that never began: an empty journal shows nothing, and would keep the folder's name.
fn discard(record: &RecordWriter) {
    if record.lines() > 0 {
        return;
    }
    let parts = [INPUTS, CAPTURES].map(|part| std::fs::remove_dir_all(record.folder().join(part)));
    let journal = std::fs::remove_file(record.folder().join(JOURNAL));
    // A folder that held something else before stays.
    let folder = std::fs::remove_dir(record.folder());
    tracing::debug!(?parts, ?journal, ?folder, "the run never began");
}

/// A record's folder with every input in it.
pub(super) fn start_record(fitted: &Fitted, out: &Path) -> Result<RecordWriter, Failure> {
    let mut record = RecordWriter::create(out).map_err(|error| Failure::broken(error.to_string(), error.mend))?;
    for input in &fitted.inputs {
        record
            .input(input.role, &input.text.name, &input.text.bytes)
            .map_err(|error| Failure::broken(error.to_string(), error.mend))?;
    }
    Ok(record)
}

/// The last lines: verdict, side, where everything lies.
pub(super) fn say(document: &Document, out: &Path, paths: &[PathBuf], context: &mut Context<'_>) {
    if context.json {
        context.output.json(&json!({
            "said_first": document.said_first, "run": document.run, "verdict": document.verdict,
            "exit_code": document.exit_code, "codes": document.codes, "side": document.side,
            "virtual": document.virtual_note, "counts": document.counts, "record": out, "reports": paths,
            "head": document.evidence.head,
            "steps": document.steps.iter().map(|step| json!({"id": step.id, "verdict": step.verdict})).collect::<Vec<_>>(),
        }));
        return;
    }
    let note = document
        .virtual_note
        .as_ref()
        .map(|note| format!(" · {note}"))
        .unwrap_or_default();
    context.output.data(&format!(
        "\n  {}  {}{note}",
        screen::word(document.verdict),
        counts(document)
    ));
    for reason in document.because.iter().take(MOST_REASONS) {
        context.output.data(&format!("  because: {}", harmless(reason)));
    }
    context
        .output
        .data(&format!("  side: {}", harmless(&document.side.says)));
    if !document.side.cheapest_next.is_empty() {
        context
            .output
            .data(&format!("  next: {}", harmless(&document.side.cheapest_next)));
    }
    context.output.data(&format!("\n  record   {}", shown(out)));
    for path in paths {
        context.output.data(&format!("  report   {}", shown(path)));
    }
}

/// So many reasons are told at the end; the reports have all of them.
const MOST_REASONS: usize = 4;

fn counts(document: &Document) -> String {
    let total: u64 = document.counts.values().sum();
    let each: Vec<String> = document
        .counts
        .iter()
        .map(|(verdict, count)| format!("{count} {verdict}"))
        .collect();
    format!(
        "{total} verdicts: {}",
        if each.is_empty() {
            "none".to_owned()
        } else {
            each.join(", ")
        }
    )
}

fn shown(path: &Path) -> String {
    harmless(&path.display().to_string())
}
