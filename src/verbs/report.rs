//! `report`: the reports of a record, made again.

use super::Context;
use super::verify::open;
use crate::args::Report;
use crate::failure::Failure;
use crate::folder::{reports_folder, write_reports};
use crate::rehearsal::document;
use crate::text::harmless;
use serde_json::json;

/// Makes every report again from the record alone. The exit code is that of `verify`.
pub(super) fn perform(arguments: &Report, context: &mut Context<'_>) -> Result<u8, Failure> {
    let record = open(&arguments.record)?;
    let document = document(&record)?;
    let code = super::verify::code(&record, &record.verify());
    context.times.lap("document");
    let folder = arguments
        .out
        .clone()
        .unwrap_or_else(|| reports_folder(&arguments.record));
    let paths = write_reports(
        &document,
        &arguments.record,
        &folder,
        !arguments.no_pdf,
        &mut context.times,
    )?;
    for text in &document.said_first {
        context.output.said_first(text);
    }
    if context.json {
        context.output.json(&json!({"reports": paths}));
    } else {
        for path in &paths {
            context.output.data(&harmless(&path.display().to_string()));
        }
    }
    Ok(code)
}
