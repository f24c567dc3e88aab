//! `explain`: a limit with its source, derivation and use.

use super::Context;
use crate::args::Explain;
use crate::failure::Failure;
use crate::fitting::Reader;
use crate::shipped::{Shelf, Shelves, did_you_mean};
use crate::text::harmless;
use pilotage_core::expr::Value;
use pilotage_core::{Quantity, Unit, format};
use pilotage_plan::files::limits::{LimitText, LimitsFile, ToleranceText};
use pilotage_plan::files::sequence::{ActForm, ActText, Latest};
use pilotage_plan::lower::read as reading;
use pilotage_plan::source::Formula;
use serde_json::{Value as Json, json};

/// Prints every limit of that key, one for each set; without a key, all limits.
pub(super) fn perform(arguments: &Explain, context: &mut Context<'_>) -> Result<u8, Failure> {
    let sets = sets(arguments, context)?;
    if let Some(key) = &arguments.key {
        return one(key, &sets, context);
    }
    list(&sets, context);
    Ok(0)
}

fn list(sets: &[LimitsFile], context: &mut Context<'_>) {
    let all = sets
        .iter()
        .flat_map(|set| set.limits.iter().map(move |limit| (set, limit)));
    if context.json {
        let limits: Vec<Json> = all
            .map(|(set, limit)| json!({"key": limit.key.value, "set": set.name.value, "title": limit.title}))
            .collect();
        context.output.json(&json!({"limits": limits}));
        return;
    }
    let widest = all.clone().map(|(_, limit)| limit.key.value.len()).max().unwrap_or(0);
    for (set, limit) in all {
        let line = format!("{:<widest$}  {:<18} {}", limit.key.value, set.name.value, limit.title);
        context.output.data(&harmless(&line));
    }
}

fn one(key: &str, sets: &[LimitsFile], context: &mut Context<'_>) -> Result<u8, Failure> {
    let found: Vec<(&LimitsFile, &LimitText)> = sets
        .iter()
        .filter_map(|set| Some((set, set.limits.iter().find(|limit| limit.key.value == key)?)))
        .collect();
    if found.is_empty() {
        return Err(unknown(key, sets));
    }
    let uses = uses(key)?;
    if context.json {
        let limits: Vec<Json> = found.iter().map(|(set, limit)| as_json(set, limit)).collect();
        context
            .output
            .json(&json!({"key": key, "limits": limits, "used_by": uses}));
        return Ok(0);
    }
    for (set, limit) in &found {
        for line in lines(set, limit) {
            context.output.data(&harmless(&line));
        }
        context.output.data("");
    }
    let used = if uses.is_empty() {
        "no shipped step".to_owned()
    } else {
        uses.join(", ")
    };
    context.output.data(&format!("used by {used}"));
    Ok(0)
}

fn sets(arguments: &Explain, context: &Context<'_>) -> Result<Vec<LimitsFile>, Failure> {
    let mut reader = Reader::new(&context.shelves);
    match &arguments.limits {
        Some(name) => Ok(vec![reader.read(
            Shelf::Limits,
            "limits",
            name,
            reading::read_limits,
        )?]),
        None => Shelves::all(Shelf::Limits)
            .into_iter()
            .map(|text| reader.read_text("limits", text, reading::read_limits))
            .collect(),
    }
}

fn unknown(key: &str, sets: &[LimitsFile]) -> Failure {
    let mut known: Vec<&str> = sets
        .iter()
        .flat_map(|set| set.limits.iter().map(|limit| limit.key.value.as_str()))
        .collect();
    known.sort_unstable();
    known.dedup();
    Failure::usage(
        format!("no limit is called `{key}`"),
        did_you_mean(key, &known, &format!("`pilotage explain` lists all {}", known.len())),
    )
}

/// Steps of shipped sequences that judge by the limit, as `sequence WU-19`.
fn uses(key: &str) -> Result<Vec<String>, Failure> {
    let shelves = Shelves::default();
    let mut uses = Vec::new();
    for text in Shelves::all(Shelf::Sequences) {
        let name = text
            .name
            .trim_start_matches("shipped:")
            .trim_end_matches(".yaml")
            .to_owned();
        let mut reader = Reader::new(&shelves);
        let written = reader.read_text("sequence", text, reading::read_sequence)?;
        let sequence = reader.whole(written)?;
        let steps = sequence
            .steps
            .iter()
            .filter(|step| step.acts.iter().any(|act| judges(act, key)));
        uses.extend(steps.map(|step| format!("{name} {}", step.id.value)));
    }
    Ok(uses)
}

fn judges(act: &ActText, key: &str) -> bool {
    match &act.form {
        ActForm::Judge(entries) => entries
            .iter()
            .any(|(_, judge)| judge.limits.iter().any(|limit| limit.value == key)),
        ActForm::WaitFor {
            latest: Latest::Limit(limit),
            ..
        } => limit.value == key,
        ActForm::Sweep { acts, .. } | ActForm::Capture { during: acts, .. } => acts.iter().any(|act| judges(act, key)),
        _ => false,
    }
}

fn lines(set: &LimitsFile, limit: &LimitText) -> Vec<String> {
    let mut lines = vec![
        format!("{}  ({})", limit.key.value, set.name.value),
        format!("  {}", limit.title),
        format!("  limit       {}", tolerance(&limit.tolerance)),
        format!("  source      {}", source(set, limit)),
        format!("  known as    {}", status(limit)),
    ];
    let mut optional = |label: &str, text: &Option<String>| {
        lines.extend(text.iter().map(|text| format!("  {label:<11} {text}")));
    };
    optional("by", &limit.by);
    optional("derivation", &limit.derivation);
    optional("note", &limit.note);
    lines.push(format!("  stands in   {}", limit.span.place()));
    lines
}

fn source(set: &LimitsFile, limit: &LimitText) -> String {
    let standard = limit.standard.as_deref().unwrap_or(&set.standard.value);
    let edition = limit.edition.as_deref().unwrap_or(&set.edition.value);
    match &limit.clause {
        Some(clause) => format!("{standard}, edition {edition}, {clause}"),
        None => "no clause".to_owned(),
    }
}

fn status(limit: &LimitText) -> String {
    serde_json::to_value(limit.status)
        .ok()
        .and_then(|value| value.as_str().map(|word| word.replace('_', " ")))
        .unwrap_or_default()
}

fn tolerance(tolerance: &ToleranceText) -> String {
    let text = |formula: &Formula| formula.expr.text().to_owned();
    match tolerance {
        ToleranceText::AtLeast(low) => format!("at least {}", text(low)),
        ToleranceText::AtMost(high) => format!("at most {}", text(high)),
        ToleranceText::Between(low, high) => format!("{} … {}", text(low), text(high)),
        ToleranceText::Within { of, by } => format!("{} ± {}", text(of), text(by)),
        ToleranceText::AnyOf(values) => values.iter().map(text).collect::<Vec<_>>().join(" or "),
    }
}

fn as_json(set: &LimitsFile, limit: &LimitText) -> Json {
    let bounds: Vec<Json> = formulas(&limit.tolerance)
        .into_iter()
        .map(|formula| bound(formula, limit))
        .collect();
    json!({
        "set": set.name.value, "title": limit.title, "tolerance": tolerance(&limit.tolerance), "bounds": bounds,
        "source": source(set, limit), "status": status(limit), "by": limit.by, "derivation": limit.derivation,
        "note": limit.note, "place": limit.span.place(),
    })
}

fn formulas(tolerance: &ToleranceText) -> Vec<&Formula> {
    match tolerance {
        ToleranceText::AtLeast(bound) | ToleranceText::AtMost(bound) => vec![bound],
        ToleranceText::Between(low, high) => vec![low, high],
        ToleranceText::Within { of, by } => vec![of, by],
        ToleranceText::AnyOf(values) => values.iter().collect(),
    }
}

/// A bound as written; with its value where it needs no item.
fn bound(formula: &Formula, limit: &LimitText) -> Json {
    let value: Option<Quantity> = match formula.expr.evaluate(&|_| None) {
        Ok(Value::Measured(measured)) => Some(measured.value),
        _ => None,
    };
    let text = value
        .zip(Unit::find(&limit.unit.value))
        .map(|(value, unit)| format::in_unit(value, unit, 6));
    json!({"written": formula.expr.text(), "si": value.map(Quantity::si), "text": text})
}
