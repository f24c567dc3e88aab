//! The command `pilotage`: arguments in, one verb, an exit code out.

use clap::Parser;
use pilotage::args::Command;
use pilotage::output::Output;
use std::process::ExitCode;

fn main() -> ExitCode {
    let command = match Command::try_parse() {
        Ok(command) => command,
        Err(error) => return usage(&error),
    };
    if let Some(level) = &command.log {
        pilotage::logging::start(level);
    }
    let mut output = Output::standard();
    match pilotage::verbs::perform(command, &mut output) {
        Ok(code) => ExitCode::from(code),
        Err(failure) => {
            output.failure(&failure);
            ExitCode::from(failure.exit_code())
        }
    }
}

/// Help and version are answers (0); anything else is wrong usage (2).
fn usage(error: &clap::Error) -> ExitCode {
    let printed = error.print();
    let code = if error.use_stderr() { 2 } else { 0 };
    if printed.is_err() && code == 0 {
        return ExitCode::from(5);
    }
    ExitCode::from(code)
}
