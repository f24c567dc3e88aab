//! The command `pilotage`: arguments in, one verb, an exit code out.

use clap::Parser;
use pilotage::args::Command;
use pilotage::failure::Failure;
use pilotage::output::Output;
use std::panic::AssertUnwindSafe;
use std::process::ExitCode;

/// Typesetting makes and frees small things by the hundred thousand (docs/decisions.md).
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    let command = match Command::try_parse() {
        Ok(command) => command,
        Err(error) => return usage(&error),
    };
    if let Some(level) = &command.log {
        pilotage::logging::start(level);
    }
    let mut output = Output::standard();
    let performed = std::panic::catch_unwind(AssertUnwindSafe(|| pilotage::verbs::perform(command, &mut output)));
    match performed.unwrap_or_else(|_| Err(broken_program())) {
        Ok(code) => ExitCode::from(code),
        Err(failure) => {
            output.failure(&failure);
            ExitCode::from(failure.exit_code())
        }
    }
}

/// A panic within a run is caught there and makes safe; one outside of it ends here.
fn broken_program() -> Failure {
    Failure::broken(
        "the program itself failed (see above)",
        "report this, with the files that it was given",
    )
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
