//! `judge`: every verdict computed again, from the record alone.

use super::Context;
use super::verify::open;
use crate::args::RecordOnly;
use crate::failure::Failure;
use crate::screen;
use crate::text::harmless;
use pilotage_evidence::Event;
use pilotage_evidence::record::Finding;
use pilotage_evidence::rejudge::{Difference, rejudge};
use serde_json::json;

/// Exit code 0 where every verdict comes out the same, 1 where one differs or the record was altered.
pub(super) fn perform(arguments: &RecordOnly, context: &mut Context<'_>) -> Result<u8, Failure> {
    let record = open(&arguments.record)?;
    let differences = rejudge(&record);
    let altered = record.verify().iter().any(Finding::is_alteration);
    if altered {
        context.output.said_first(
            "The record was ALTERED: only what stands before the first broken line is judged. See `pilotage verify`.",
        );
    }
    let judged = record
        .events()
        .iter()
        .filter(|stamped| matches!(stamped.event, Event::Judged(_)))
        .count();
    if context.json {
        context.output.json(
            &json!({"record": arguments.record, "altered": altered, "judged": judged, "differences": differences}),
        );
        return Ok(code(&differences, altered));
    }
    for stamped in record.events() {
        if let Event::Judged(judgement) = &stamped.event {
            let limit = screen::tolerance(&judgement.limit.tolerance, &judgement.limit.unit);
            let pass = judgement.pass.as_deref().unwrap_or("");
            let line = format!("{:>6}  {:<16} {pass:<12} {limit}", stamped.seq, judgement.name);
            context
                .output
                .data(&format!("  {} {}", screen::word(judgement.verdict), harmless(&line)));
        }
    }
    for difference in &differences {
        context.output.data(&format!(
            "line {}: was {}, is {}",
            difference.seq,
            harmless(&difference.was),
            harmless(&difference.is)
        ));
    }
    context
        .output
        .data(&format!("{judged} verdicts judged again, {} differ", differences.len()));
    Ok(code(&differences, altered))
}

fn code(differences: &[Difference], altered: bool) -> u8 {
    u8::from(altered || !differences.is_empty())
}
