//! `verify`: finds any changed, removed or added byte of a record.

use super::Context;
use crate::args::RecordOnly;
use crate::failure::Failure;
use crate::text::harmless;
use pilotage_evidence::record::{Finding, Record};
use serde_json::json;
use std::path::Path;

/// Exit code 0 where the record is as it was sealed, 1 where it was altered, 3 where it was never sealed.
pub(super) fn perform(arguments: &RecordOnly, context: &mut Context<'_>) -> Result<u8, Failure> {
    let record = open(&arguments.record)?;
    let findings = record.verify();
    let altered = findings.iter().any(Finding::is_alteration);
    let sealed = record.seal().is_some();
    if context.json {
        context.output.json(&json!({
            "record": arguments.record, "lines": record.events().len(), "head": record.head(), "sealed": sealed,
            "altered": altered, "findings": findings,
        }));
    } else {
        for finding in &findings {
            context.output.data(&harmless(&finding.to_string()));
        }
        context
            .output
            .data(&verdict(altered, sealed, record.events().len(), record.head()));
    }
    Ok(code(&record, &findings))
}

/// 0 where a record is as it was sealed, 1 where it was altered, 3 where it was never sealed.
pub(super) fn code(record: &Record, findings: &[Finding]) -> u8 {
    if findings.iter().any(Finding::is_alteration) {
        1
    } else if record.seal().is_some() {
        0
    } else {
        3
    }
}

fn verdict(altered: bool, sealed: bool, lines: usize, head: &str) -> String {
    match (altered, sealed) {
        (true, _) => "the record was ALTERED after it was written".to_owned(),
        (false, true) => format!("unaltered: {lines} lines, last hash {head}, sealed"),
        (false, false) => {
            format!("{lines} lines hold together, last hash {head}; the record was never sealed: the run did not end")
        }
    }
}

/// Opens a record.
pub(super) fn open(folder: &Path) -> Result<Record, Failure> {
    Record::open(folder)
        .map_err(|error| Failure::usage(error.to_string(), "give the folder of a record: it holds journal.txt"))
}
