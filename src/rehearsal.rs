//! A run on the virtual bench in virtual time: one current-thread runtime whose clock is paused, no socket, no wall clock.

use crate::failure::Failure;
use crate::fitting::{Fitted, Reader};
use crate::shipped::{Shelf, Shelves, Text};
use crate::wiring::clock::TokioClock;
use crate::wiring::devices::links;
use crate::wiring::frames;
use crate::wiring::person::VirtualPerson;
use crate::wiring::traffic::{Divergence, Links, Wishes, now_of};
use pilotage_bench::Wired;
use pilotage_bench::interpret::Problem;
use pilotage_core::frames::Life;
use pilotage_evidence::Event;
use pilotage_evidence::document::{Document, build};
use pilotage_evidence::heading::Mode;
use pilotage_evidence::record::Record;
use pilotage_evidence::sides::SideRule;
use pilotage_plan::files::sequence::AnswerText;
use pilotage_plan::files::sides::SidesFile;
use pilotage_plan::lower::read as reading;
use pilotage_plan::program::{ActKind, AskSpec, Program, with_inner};
use pilotage_run::options::{Options, Outcome, StopProof};
use pilotage_run::world::Journal;
use pilotage_virtual::person::{Person, Wanted, can_measure, word_for};
use pilotage_virtual::physics::Setup;
use std::sync::Arc;

/// Rehearsals happen on a day of their own, so that the same files and seed give the same bytes on any day.
pub const STARTED: &str = "2026-01-01T08:00:00Z";

/// What is rehearsed.
pub struct Rehearsal<'a> {
    /// The fitted files.
    pub fitted: &'a Fitted,
    /// The virtual item.
    pub setup: Setup,
    /// Seed of the instruments' noise.
    pub seed: u64,
    /// The defect in words, e.g. `W03 plain`.
    pub defect: Option<String>,
    /// Name of the run.
    pub run: String,
    /// What was wished for the links.
    pub wishes: Wishes,
}

/// Runs it. Everything that happens goes through the journal.
pub fn rehearse<J: Journal>(rehearsal: &Rehearsal<'_>, journal: &mut J) -> Result<Outcome, Failure> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .start_paused(true)
        .build()
        .map_err(|error| Failure::broken(format!("no runtime: {error}"), "report this"))?;
    tokio::task::LocalSet::new().block_on(&runtime, on_the_bench(rehearsal, journal))
}

async fn on_the_bench<J: Journal>(rehearsal: &Rehearsal<'_>, journal: &mut J) -> Result<Outcome, Failure> {
    let clock = TokioClock::virtual_time();
    let now = now_of(clock);
    let fitted = rehearsal.fitted;
    let interface = frames::OfBench::of(fitted);
    let life = Life::default();
    let world = frames::world(&rehearsal.setup, interface.as_ref(), Some(&life))?;
    let divergence = Divergence::default();
    let instruments = match &rehearsal.wishes.playback {
        None => {
            let mut links = links(&world, rehearsal.seed, &now);
            links.extend(interface.map(|interface| (interface.name().to_owned(), frames::link(&world, &now))));
            links
        }
        Some(file) => divergence.links(file, &names(fitted))?,
    };
    let links = rehearsal.wishes.before(instruments, &now);
    let bench = wired(fitted, links, clock)?.living(life);
    let person = Person::new(&rehearsal.setup);
    every_question_has_an_answer(&fitted.program, &person)?;
    let people = VirtualPerson::new(person, world, clock);
    let options = Options {
        mode: Mode::VirtualBench {
            seed: Some(rehearsal.seed),
            defect: rehearsal.defect.clone(),
            over_tcp: false,
            links: rehearsal.wishes.words(),
        },
        run: rehearsal.run.clone(),
        started: STARTED.to_owned(),
        stop_proof: StopProof::Wanted,
    };
    // A playback moves nothing, so it may end at once where what is asked leaves the trace.
    let outcome = tokio::select! {
        biased;
        failure = divergence.came() => return Err(failure),
        outcome = pilotage_run::run(&fitted.program, &bench, &clock, journal, &people, &options) => outcome,
    };
    if let Some(file) = &rehearsal.wishes.playback {
        divergence.nothing_left(file)?;
    }
    Ok(outcome)
}

fn names(fitted: &Fitted) -> Vec<String> {
    let instruments = fitted.bench.instruments.iter();
    instruments.map(|instrument| instrument.name.value.clone()).collect()
}

/// A virtual person has no eyes: what is asked for as a value must stand in the item file, else the run would end there.
fn every_question_has_an_answer(program: &Program, person: &Person) -> Result<(), Failure> {
    for act in program.steps.iter().flat_map(|step| with_inner(&step.acts)) {
        let ActKind::Ask(AskSpec {
            prompt,
            answer: AnswerText::Quantity { unit },
            does,
            ..
        }) = &act.kind
        else {
            continue;
        };
        if person.reply(prompt, Wanted::Quantity).is_none() && !can_measure(does.as_deref()) {
            return Err(Failure::usage(
                format!(
                    "{}: the virtual person is asked \"{prompt}\" and knows no value in {}",
                    act.span.place(),
                    unit.value
                ),
                no_value(prompt, &unit.value),
            ));
        }
    }
    Ok(())
}

/// How to give the virtual person a value to answer with.
pub fn no_value(prompt: &str, unit: &str) -> String {
    format!(
        "write the answer under `virtual:` in the item file, for this question `{}: 1 {unit}`, or `person_quantity: 1 {unit}` for \
         every value that is asked for",
        word_for(prompt)
    )
}

/// The bench that the runner drives, over these links.
pub fn wired(fitted: &Fitted, links: Links, clock: TokioClock) -> Result<Wired<TokioClock>, Failure> {
    let drivers = fitted.drivers.values();
    Wired::open(&fitted.program, &fitted.bench, drivers, links, Arc::new(clock))
        .map_err(|problems| not_wired(&problems))
}

/// Problems of bench and driver files that show when they are compiled.
fn not_wired(problems: &[Problem]) -> Failure {
    let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
    Failure::usage(
        format!("the bench cannot be wired: {}", lines.join("; ")),
        "mend the bench or the driver file",
    )
}

/// The plain document of a record, with the side rules that went into the run.
pub fn document(record: &Record) -> Result<Document, Failure> {
    Ok(build(record, &side_rules(record)?))
}

/// The side rules that lie in the record; the shipped ones of the item's kind where it has none.
fn side_rules(record: &Record) -> Result<Vec<SideRule>, Failure> {
    let Some(Event::RunStarted(heading)) = record.event(0) else {
        return Ok(Vec::new());
    };
    let shelves = Shelves::default();
    let mut reader = Reader::new(&shelves);
    let file = match heading.inputs.iter().find(|input| input.role == "sides") {
        Some(input) => {
            let bytes = record
                .input(input)
                .map_err(|error| Failure::broken(error.to_string(), "run `pilotage verify`"))?;
            reader.read_text(
                "sides",
                Text {
                    name: input.name.clone(),
                    bytes,
                },
                reading::read_sides,
            )?
        }
        None => reader.read(Shelf::Sides, "sides", heading.item.kind.word(), reading::read_sides)?,
    };
    Ok(plain(&file))
}

/// Side rules without the places where they were written.
pub fn plain(file: &SidesFile) -> Vec<SideRule> {
    let names = |list: &[pilotage_plan::source::Sp<String>]| list.iter().map(|sp| sp.value.clone()).collect();
    file.rules
        .iter()
        .map(|rule| SideRule {
            id: rule.id.value.clone(),
            if_failed: names(&rule.if_failed),
            if_inconclusive: names(&rule.if_inconclusive),
            side: rule.side,
            kind: rule.kind.value.clone(),
            says: rule.says.clone(),
            cheapest_next: rule.cheapest_next.clone(),
        })
        .collect()
}
