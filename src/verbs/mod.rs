//! One file a verb. Each reads its arguments, calls a job, writes data and messages, and gives an exit code.

mod bench;
mod calc;
mod challenge;
mod check;
mod completions;
mod defects;
mod explain;
mod fit;
mod inspect;
mod judge;
mod rehearse;
mod report;
mod run;
mod schema;
mod verify;

use crate::args::{BenchVerb, Command, Verb};
use crate::failure::Failure;
use crate::output::Output;
use crate::shipped::Shelves;
use crate::times::Times;

/// What every verb gets beside its own arguments.
pub struct Context<'a> {
    /// Where files are looked for.
    pub shelves: Shelves,
    /// Whether data is wanted as JSON.
    pub json: bool,
    /// Where to write.
    pub output: &'a mut Output,
    /// How long each part took.
    pub times: Times,
}

/// Does what was typed. Gives the exit code.
pub fn perform(command: Command, output: &mut Output) -> Result<u8, Failure> {
    let mut context = Context {
        shelves: Shelves { folders: command.files },
        json: command.json,
        output,
        times: Times::default(),
    };
    let code = there(&context.shelves).and_then(|()| dispatch(command.verb, &mut context));
    if command.times {
        context.output.message(&context.times.as_json().to_string());
    }
    code
}

/// A folder that is not there would be looked into in vain.
fn there(shelves: &Shelves) -> Result<(), Failure> {
    let missing = shelves.folders.iter().find(|folder| !folder.is_dir());
    missing.map_or(Ok(()), |folder| {
        Err(Failure::usage(
            format!("--files {} is no folder", folder.display()),
            "give a folder that exists",
        ))
    })
}

fn dispatch(verb: Verb, context: &mut Context<'_>) -> Result<u8, Failure> {
    match verb {
        Verb::Check(arguments) => check::perform(&arguments, context),
        Verb::Fit(arguments) => fit::perform(&arguments, context),
        Verb::Rehearse(arguments) => rehearse::perform(&arguments, context),
        Verb::Run(arguments) => run::perform(&arguments, context),
        Verb::Bench {
            what: BenchVerb::Serve(arguments),
        } => bench::serve(&arguments, context),
        Verb::Defects(arguments) => defects::perform(&arguments, context),
        Verb::Challenge(arguments) => challenge::perform(&arguments, context),
        Verb::Explain(arguments) => explain::perform(&arguments, context),
        Verb::Calc(arguments) => calc::perform(&arguments, context),
        Verb::Inspect(arguments) => inspect::perform(&arguments, context),
        Verb::Judge(arguments) => judge::perform(&arguments, context),
        Verb::Verify(arguments) => verify::perform(&arguments, context),
        Verb::Report(arguments) => report::perform(&arguments, context),
        Verb::Schema(arguments) => schema::perform(&arguments, context),
        Verb::Completions(arguments) => completions::perform(&arguments, context),
    }
}
