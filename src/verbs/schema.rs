//! `schema`: the JSON Schema of a kind of file, for editors.

use super::Context;
use crate::args::Schema;
use crate::failure::Failure;
use crate::shipped::did_you_mean;
use pilotage_plan::lower::FileKind;

/// Prints the schema.
pub(super) fn perform(arguments: &Schema, context: &mut Context<'_>) -> Result<u8, Failure> {
    let kind = FileKind::ALL
        .into_iter()
        .find(|kind| kind.word() == arguments.kind)
        .ok_or_else(|| {
            let known: Vec<&str> = FileKind::ALL.iter().map(|kind| kind.word()).collect();
            Failure::usage(
                format!("`{}` is not a kind of file", arguments.kind),
                did_you_mean(&arguments.kind, &known, "`pilotage schema --help` lists all"),
            )
        })?;
    context.output.json(&pilotage_plan::schema::schema(kind));
    Ok(0)
}
