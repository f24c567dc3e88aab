//! `defects`: what virtual items can be given, and the steps that should notice it.

use super::Context;
use crate::args::{Defects, SeverityWord};
use crate::claims::{claimed_step, named_steps};
use crate::failure::Failure;
use crate::fitting::{Reader, all_defects, beside};
use crate::text::harmless;
use crate::wiring::setup::{severity, severity_word};
use pilotage_plan::files::defect::DefectFile;
use serde_json::json;

/// Lists all defects, or those that a sequence should notice.
pub(super) fn perform(arguments: &Defects, context: &mut Context<'_>) -> Result<u8, Failure> {
    let sequence = match &arguments.sequence {
        Some(name) => {
            let shelves = beside(name, &context.shelves);
            Some(Reader::new(&shelves).sequence(name)?)
        }
        None => None,
    };
    let defects = all_defects(&context.shelves)?;
    let mut rows = Vec::new();
    for (_, defect) in &defects {
        if sequence
            .as_ref()
            .is_some_and(|sequence| sequence.item.value != defect.item.value)
        {
            continue;
        }
        let claimed = sequence.as_ref().map(|sequence| claimed_step(defect, sequence));
        if claimed != Some(None) {
            rows.push((defect, claimed.flatten()));
        }
    }
    if context.json {
        let list: Vec<_> = rows
            .iter()
            .map(|(defect, claimed)| as_json(defect, claimed.as_deref()))
            .collect();
        context.output.json(&json!({"defects": list}));
        return Ok(0);
    }
    for (defect, claimed) in &rows {
        let step = claimed.clone().unwrap_or_else(|| named_steps(defect).join(" "));
        context.output.data(&harmless(&format!(
            "{:<5} {:<14} {:<56} noticed by {:<24} {}",
            defect.id.value,
            defect.item.value.word(),
            defect.title.value,
            step,
            severities(defect).join(", ")
        )));
    }
    Ok(0)
}

fn severities(defect: &DefectFile) -> Vec<&'static str> {
    [SeverityWord::Edge, SeverityWord::Plain, SeverityWord::Gross]
        .into_iter()
        .filter(|word| defect.severities.iter().any(|(known, _)| *known == severity(*word)))
        .map(severity_word)
        .collect()
}

fn as_json(defect: &DefectFile, claimed: Option<&str>) -> serde_json::Value {
    json!({
        "id": defect.id.value, "item": defect.item.value.word(), "title": defect.title.value, "noticed_by": named_steps(defect), "claimed_step": claimed,
        "side": defect.side, "severities": severities(defect),
    })
}
