//! `check`: reads files of any kind and says everything that is wrong with them; sequences are fitted too.

use super::Context;
use crate::args::Check;
use crate::failure::{Failure, Problems};
use crate::fitting::{Reader, Request, beside, drivers, load};
use crate::needs::Needs;
use crate::shipped::{Shelf, Text};
use crate::text::harmless;
use crate::wiring::setup::check_parameters;
use pilotage_plan::fit::{Fitness, fitness, loose_ends};
use pilotage_plan::lower::{AnyFile, read, read_bytes};
use pilotage_plan::problem::Problem;
use pilotage_plan::render::Form;
use serde_json::json;

/// Exit code 0 where nothing is wrong, 2 otherwise. Every file is looked at, whatever the ones before it said.
#[expect(clippy::unnecessary_wraps, reason = "every verb has the same form")]
pub(super) fn perform(arguments: &Check, context: &mut Context<'_>) -> Result<u8, Failure> {
    let mut wrong = 0;
    for path in &arguments.paths {
        match one(path, arguments, context) {
            Ok(()) => {}
            Err(Failure::Problems(problems)) => {
                wrong += problems.problems.len();
                show(&problems, arguments.short, context);
            }
            Err(failure) => {
                wrong += 1;
                whole_file(path, &failure, arguments.short, context);
            }
        }
    }
    if wrong > 0 && !arguments.short && !context.json {
        context.output.message(&format!("{wrong} problem(s)"));
    }
    Ok(if wrong == 0 { 0 } else { 2 })
}

fn one(path: &str, arguments: &Check, context: &mut Context<'_>) -> Result<(), Failure> {
    let text = find(path, context)?;
    let file = read_bytes(&text.name, &text.bytes).map_err(|problems| refuse(&text, problems))?;
    match file {
        AnyFile::Sequence(_) => sequence(path, arguments, context),
        AnyFile::Bench(_) => {
            let shelves = beside(path, &context.shelves);
            let mut reader = Reader::new(&shelves);
            let bench = reader.read_text("bench", text.clone(), read::read_bench)?;
            let problems = loose_ends(&bench, &drivers(&bench, &mut reader)?);
            if !problems.is_empty() {
                return Err(reader.refuse(problems));
            }
            say_good(&text.name, "bench", context);
            Ok(())
        }
        AnyFile::Defect(defect) => {
            for (_, changes) in &defect.severities {
                check_parameters(defect.item.value, changes)?;
            }
            say_good(&text.name, "defect", context);
            Ok(())
        }
        AnyFile::Item(item) => {
            check_parameters(item.kind.value, &item.virtual_parameters)?;
            say_good(&text.name, "item", context);
            Ok(())
        }
        other => {
            say_good(&text.name, other.kind().word(), context);
            Ok(())
        }
    }
}

/// A file that is named without its shelf: sequences first, then every other shelf.
fn find(path: &str, context: &Context<'_>) -> Result<Text, Failure> {
    let shelves = [
        Shelf::Sequences,
        Shelf::Chapters,
        Shelf::Limits,
        Shelf::Items,
        Shelf::Benches,
        Shelf::Drivers,
        Shelf::Defects,
        Shelf::Sides,
    ];
    let found = shelves
        .into_iter()
        .find_map(|shelf| context.shelves.find(shelf, path).ok());
    match found {
        Some(text) => Ok(text),
        None => Ok(context.shelves.find(Shelf::Sequences, path)?),
    }
}

/// Where the text is not UTF-8, places do not fit it and nothing of it is shown.
fn refuse(text: &Text, problems: Vec<Problem>) -> Failure {
    let source = std::str::from_utf8(&text.bytes).ok();
    let texts = source
        .map(|source| (text.name.clone(), source.to_owned()))
        .into_iter()
        .collect();
    Failure::Problems(Box::new(Problems { problems, texts }))
}

/// A failure that has no place within the file.
fn whole_file(path: &str, failure: &Failure, short: bool, context: &mut Context<'_>) {
    let mend = failure.mend().unwrap_or_default();
    if context.json {
        context
            .output
            .data(&json!({"file": path, "message": failure.to_string(), "mend": mend}).to_string());
    } else if short {
        context
            .output
            .data(&harmless(&format!("{path}:1:1: error: {failure}; {mend}")));
    } else {
        context.output.failure(failure);
    }
}

fn say_good(name: &str, kind: &str, context: &mut Context<'_>) {
    if context.json {
        context
            .output
            .data(&json!({"file": name, "kind": kind, "problems": []}).to_string());
    } else {
        context
            .output
            .data(&format!("{}: {kind}, nothing wrong", harmless(name)));
    }
}

fn sequence(path: &str, arguments: &Check, context: &mut Context<'_>) -> Result<(), Failure> {
    let fitted = load(
        Request {
            sequence: path,
            fitting: &arguments.fitting,
            defect: None,
        },
        &context.shelves,
    )?;
    let fitness = fitness(&fitted.program, &fitted.bench, &fitted.drivers);
    if context.json {
        context.output.data(&summary(path, &fitted, &fitness).to_string());
        return Ok(());
    }
    let seconds = fitted.program.estimate.as_secs();
    context.output.data(&format!(
        "{}: sequence, nothing wrong. {} steps, about {} min {} s without the persons' time, {} limits",
        harmless(path),
        fitted.program.steps.len(),
        seconds / 60,
        seconds % 60,
        fitness.len(),
    ));
    say_needs(path, &Needs::among(&fitted, &fitness), arguments.short, context);
    for entry in fitness.iter().filter(|entry| is_tight(entry)) {
        context
            .output
            .data(&harmless(&format!("  {} {}: {}", entry.id, entry.name, entry.says)));
    }
    Ok(())
}

/// A tolerance that is less than four times as wide as the uncertainty, and that `needs` does not speak of anyway.
fn is_tight(entry: &Fitness) -> bool {
    entry.decidable && entry.ratio.is_some_and(|ratio| ratio < 4.0)
}

/// What the bench cannot decide is said with its place in the short form, for editors and CI; the file is not wrong for it.
fn say_needs(path: &str, needs: &Needs, short: bool, context: &mut Context<'_>) {
    let lines: Vec<String> = match (short, needs.unmet.is_empty()) {
        (false, _) => needs.lines(),
        (true, true) => vec![format!("{path}: needs: {}", needs.all_met())],
        (true, false) => needs
            .unmet
            .iter()
            .map(|unmet| format!("{}: note: {}", unmet.place, unmet.says))
            .collect(),
    };
    for line in lines {
        context.output.data(&harmless(&line));
    }
}

fn summary(path: &str, fitted: &crate::fitting::Fitted, fitness: &[Fitness]) -> serde_json::Value {
    let limits: Vec<_> = fitness
        .iter()
        .map(|entry| json!({"step": entry.id, "name": entry.name, "limit": entry.key, "ratio": entry.ratio, "decidable": entry.decidable, "says": entry.says}))
        .collect();
    json!({
        "file": path,
        "kind": "sequence",
        "problems": [],
        "steps": fitted.program.steps.len(),
        "estimate_s": fitted.program.estimate.as_secs_f64(),
        "limits": limits,
    })
}

fn show(problems: &Problems, short: bool, context: &mut Context<'_>) {
    if context.json {
        for problem in &problems.problems {
            context.output.data(&as_json(problem).to_string());
        }
        return;
    }
    context
        .output
        .problems(problems, if short { Form::Short } else { Form::Styled });
}

fn as_json(problem: &Problem) -> serde_json::Value {
    json!({
        "file": &*problem.span.file, "line": problem.span.line, "column": problem.span.column, "code": problem.code,
        "message": problem.message, "expected": problem.expected, "got": problem.got, "mend": problem.mend,
    })
}
