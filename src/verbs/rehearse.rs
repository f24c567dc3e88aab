//! `rehearse`: a sequence on the virtual bench, in virtual time, with record and reports.

use super::Context;
use crate::args::{LinkArguments, Rehearse, VirtualItem};
use crate::failure::Failure;
use crate::fitting::{Fitted, Request, load};
use crate::folder::{Lines, Recorder, reports_folder, write_reports};
use crate::forecast::Forecast;
use crate::needs::Needs;
use crate::rehearsal::{self, Rehearsal, document};
use crate::screen;
use crate::text::harmless;
use crate::wiring::setup::{Given, setup, severity_word};
use crate::wiring::tracefile::{self, Head, TraceFile};
use crate::wiring::traffic::{LinkFaults, Tapes, Wishes};
use pilotage_evidence::document::Document;
use pilotage_evidence::document::reasons::reasons;
use pilotage_evidence::record::{CAPTURES, INPUTS, JOURNAL, REPORTS, RecordWriter, SEAL};
use pilotage_run::options::Outcome;
use serde_json::json;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// Runs, seals, reports. The exit code is the run's.
pub(super) fn perform(arguments: &Rehearse, context: &mut Context<'_>) -> Result<u8, Failure> {
    let playback = arguments.links.playback.as_deref().map(TraceFile::read).transpose()?;
    let virtual_item = as_traced(&arguments.virtual_item, playback.as_ref());
    let request = Request {
        sequence: &arguments.sequence,
        fitting: &arguments.fitting,
        defect: virtual_item.defect.as_deref(),
    };
    let fitted = load(request, &context.shelves)?;
    context.times.lap("load");
    let name = run_name(&arguments.sequence, &virtual_item, &arguments.links);
    let out = arguments.out.clone().unwrap_or_else(|| default_folder(&fitted, &name));
    if let Some(path) = &arguments.links.trace {
        tracefile::may_be_written(path)?;
    }
    vacate(&out, arguments.out.is_some())?;
    if !arguments.no_pdf {
        std::thread::spawn(pilotage_pdf::warm_up);
    }
    let wishes = wishes(&arguments.links, playback);
    let outcome = run(&fitted, &virtual_item, &wishes, (&name, &out), context);
    let mut kept = None;
    if let (Some(path), Some(tapes)) = (&arguments.links.trace, &wishes.trace) {
        let head = Head {
            of: name.clone(),
            seed: Some(virtual_item.seed),
            defect: virtual_item.defect.clone().map(|id| (id, virtual_item.severity)),
        };
        kept = keep_trace(path, tapes, &head, context).then_some(path);
    }
    let outcome = outcome?;
    finish(&out, !arguments.no_pdf, context)?;
    if let Some(path) = kept {
        context.output.message(&format!("  trace    {}", shown(path)));
    }
    if let Some(faults) = &wishes.faults {
        let hits = faults.hits.load(Ordering::Relaxed);
        context
            .output
            .message(&format!("  links    {}: {hits} replies disturbed", faults.words()));
    }
    Ok(outcome)
}

/// Seed and defect of a trace are those of its playback: the virtual person answers as it did, and the record says them.
fn as_traced(asked: &VirtualItem, playback: Option<&TraceFile>) -> VirtualItem {
    let Some(file) = playback else { return asked.clone() };
    let (defect, severity) = file.head.defect.clone().unzip();
    VirtualItem {
        defect,
        severity: severity.unwrap_or(asked.severity),
        seed: file.head.seed.unwrap_or(asked.seed),
    }
}

fn wishes(arguments: &LinkArguments, playback: Option<TraceFile>) -> Wishes {
    Wishes {
        faults: arguments.link_faults.map(|seed| LinkFaults {
            seed,
            one_in: arguments.one_fault_in,
            hits: Arc::default(),
        }),
        trace: arguments.trace.as_ref().map(|_| Tapes::default()),
        playback: playback.map(Arc::new),
    }
}

/// Writes a trace, and says whether that worked. A trace is no evidence: where it cannot be written, the run counts all the same.
pub(super) fn keep_trace(path: &Path, tapes: &Tapes, head: &Head, context: &mut Context<'_>) -> bool {
    let written = tracefile::write(path, head, &tapes.lines());
    if let Err(failure) = &written {
        context.output.failure(failure);
    }
    written.is_ok()
}

/// Document, reports and last lines of a record that was just sealed.
pub(super) fn finish(out: &Path, pdf: bool, context: &mut Context<'_>) -> Result<(), Failure> {
    let record = super::verify::open(out)?;
    let document = document(&record)?;
    context.times.lap("document");
    let paths = write_reports(&document, out, &reports_folder(out), pdf, &mut context.times)?;
    say(&document, out, &paths, context);
    Ok(())
}

/// `out/`, the kind of the item, and the name of the run: a quick check of a wall unit is not one of a charger.
pub(super) fn default_folder(fitted: &Fitted, name: &str) -> PathBuf {
    Path::new("out").join(fitted.item.kind.value.word()).join(name)
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
    let others = |folder: &Path| std::fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_some());
    if others(out) {
        return Err(Failure::usage(
            format!(
                "{} holds other files, which would become part of the record",
                out.display()
            ),
            "give a new folder with --out, or an empty one",
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

fn run_name(sequence: &str, virtual_item: &VirtualItem, links: &LinkArguments) -> String {
    let stem = sequence
        .trim_end_matches(".yaml")
        .rsplit(['/', '\\'])
        .next()
        .unwrap_or("run");
    let defect = virtual_item
        .defect
        .as_ref()
        .map(|id| format!("-{}-{}", id.to_uppercase(), severity_word(virtual_item.severity)));
    let faults = links.link_faults.map(|seed| format!("-faults{seed}"));
    let played = if links.playback.is_some() { "-playback" } else { "" };
    let name = format!(
        "{stem}{}-seed{}{}{played}",
        defect.unwrap_or_default(),
        virtual_item.seed,
        faults.unwrap_or_default()
    );
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
    wishes: &Wishes,
    (name, out): (&str, &Path),
    context: &mut Context<'_>,
) -> Result<u8, Failure> {
    let given = fitted.defect.as_ref().map(|defect| Given {
        defect,
        severity: virtual_item.severity,
    });
    let setup = setup(&fitted.item, given, virtual_item.seed)?;
    let record = start_record(fitted, out)?;
    let opening = Needs::of(fitted).lines();
    let lines = Lines::new(context.output, Forecast::of(&fitted.program), opening, None);
    let mut journal = Recorder::new(record, lines);
    let defect = given.map(|given| format!("{} {}", given.defect.id.value, severity_word(given.severity)));
    let rehearsal = Rehearsal {
        fitted,
        setup,
        seed: virtual_item.seed,
        defect,
        run: name.to_owned(),
        wishes: wishes.clone(),
    };
    let outcome = rehearsal::rehearse(&rehearsal, &mut journal);
    context.times.lap("run");
    if wishes.playback.is_some() && outcome.is_err() {
        throw_away(&journal.record);
    }
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
    if record.lines() == 0 {
        throw_away(record);
    }
}

/// Takes away a record: of a run that never began, or of a playback that left its trace, in which nothing was moved.
fn throw_away(record: &RecordWriter) {
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
    for reason in reasons(document).iter().take(MOST_REASONS) {
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
