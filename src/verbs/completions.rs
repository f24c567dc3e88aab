//! `completions`: a completion script for a shell.

use super::Context;
use crate::args::{Command, Completions};
use crate::failure::Failure;
use clap::CommandFactory;

/// Prints the script.
#[expect(clippy::unnecessary_wraps, reason = "every verb has the same form")]
pub(super) fn perform(arguments: &Completions, context: &mut Context<'_>) -> Result<u8, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut Command::command(), "pilotage", &mut script);
    context.output.data(String::from_utf8_lossy(&script).trim_end());
    Ok(0)
}
