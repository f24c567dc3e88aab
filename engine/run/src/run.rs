//! The frame of a run: the body beside its guards, every way out into make safe, and the end.

use crate::guard::Watch;
use crate::halt::Halt;
use crate::log::Log;
use crate::options::{Options, Outcome};
use crate::permit::Gate;
use crate::ready;
use crate::runner::Runner;
use crate::sweep::Sweep;
use crate::values::Values;
use crate::world::{Bench, Clock, Journal, People};
use futures_util::FutureExt;
use pilotage_evidence::event::StopCause;
use pilotage_evidence::{EnergyState, Event, rollup};
use pilotage_plan::program::Program;
use std::any::Any;
use std::collections::BTreeMap;
use std::panic::AssertUnwindSafe;

/// Runs a program. Whatever happens on the way (a fail, an error, a trip, a person, a lost link, a full disk, a panic),
/// it ends in make safe, read back, and says so.
///
/// Every event goes through `journal`; a caller that shows them live wraps it.
pub async fn run<B: Bench, C: Clock, J: Journal, P: People>(
    program: &Program,
    bench: &B,
    clock: &C,
    journal: &mut J,
    people: &P,
    options: &Options,
) -> Outcome {
    let gate = Gate::default();
    let watch = Watch::new(program, bench, clock, gate.clone());
    let mut runner = Runner {
        program,
        options,
        bench,
        clock,
        people,
        watch: &watch,
        log: Log::new(clock, journal, gate),
        values: Values::new(&program.constants),
        needs: BTreeMap::new(),
        sweep: Sweep::default(),
        captured: Err("nothing was captured yet".to_owned()),
        captures: 0,
        energy: EnergyState::Unknown,
        supply_on: true,
        cautioned: false,
        stop_proven_until: None,
        permits_withheld: None,
        pass: None,
        ordered: None,
        step: None,
        last_step: 0,
        ended: Vec::new(),
    };
    let halt = match runner.open() {
        Ok(()) => runner.beside_guards().await,
        Err(halt) => Some(halt),
    };
    runner.close(halt).await
}

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// The body, until it ends or something ends it: a trip first, then a person.
    async fn beside_guards(&mut self) -> Option<Halt> {
        let (watch, people) = (self.watch, self.people);
        let guarded = async {
            tokio::select! {
                biased;
                trip = watch.monitor() => Some(Halt::Trip(trip)),
                () = people.stop_wanted() => Some(Halt::Person("a person asked the run to stop".to_owned())),
                never = watch.show_life() => match never {},
                ended = self.body() => ended.err(),
            }
        };
        match AssertUnwindSafe(guarded).catch_unwind().await {
            Ok(halt) => halt,
            Err(panic) => Some(Halt::Panic(words_of(panic.as_ref()))),
        }
    }

    /// The heading is the first event of every record, also of a run that is stopped at once.
    fn open(&mut self) -> Result<(), Halt> {
        let heading = ready::heading(self.program, self.options);
        self.log.put(Event::RunStarted(Box::new(heading))).map(drop)
    }

    async fn body(&mut self) -> Result<(), Halt> {
        self.identify().await?;
        self.errors_empty().await?;
        // Where a person has to measure dead, they must know before what they may meet.
        if self.program.without_source.is_some() {
            self.acknowledge_cautions().await?;
        }
        self.make_ready().await?;
        if !self.cautioned {
            self.acknowledge_cautions().await?;
        }
        self.steps().await
    }

    /// The one way out.
    async fn close(mut self, halt: Option<Halt>) -> Outcome {
        self.watch.gate().shut();
        self.watch.disarm();
        if let Some(halt) = &halt {
            self.hold_back_stop(halt);
            self.end_all_steps(halt);
        }
        self.pass = None;
        let emergency = halt.as_ref().is_some_and(Halt::emergency);
        let watch = self.watch;
        let made = tokio::select! {
            biased;
            made = self.make_safe(emergency) => made,
            never = watch.show_life() => match never {},
        };
        // The journal may have failed only now, in the last step or in make safe itself.
        let halt = halt.or_else(|| self.log.check().err());
        self.end(halt.as_ref(), made.by_hand)
    }

    /// The trip and the stop are journaled with their own times, but after the first orders of make safe.
    fn hold_back_stop(&mut self, halt: &Halt) {
        let (by, why) = (halt.cause(), halt.why());
        tracing::info!(?by, why, "stopped");
        let now = self.clock.now();
        if let Halt::Trip(trip) = halt {
            self.log.hold_back(trip.at, trip.event());
        }
        self.log.hold_back(now, Event::Stopped { by, why });
    }

    fn end(&mut self, halt: Option<&Halt>, by_hand: Option<String>) -> Outcome {
        let stop = halt.map(Halt::cause);
        let stop = if self.log.has_failed() {
            stop.or(Some(StopCause::Bench))
        } else {
            stop
        };
        let heading = ready::heading(self.program, self.options);
        let counted = pilotage_evidence::void::counted(&heading.closings, &self.ended);
        let verdict = rollup::run_verdict(&counted, stop);
        let mut codes = rollup::codes(&counted, stop, by_hand.is_none());
        if self.log.has_failed() {
            codes = with_code(&codes, 5);
        }
        let exit_code = rollup::exit_code(&codes);
        self.log.say(Event::RunEnded {
            verdict,
            exit_code,
            codes: codes.clone(),
        });
        self.log.flush();
        self.outcome(verdict, codes, by_hand)
    }

    /// The last event itself may not have reached the disk: that counts too.
    fn outcome(&self, verdict: pilotage_evidence::Verdict, codes: Vec<u8>, by_hand: Option<String>) -> Outcome {
        let codes = if self.log.has_failed() {
            with_code(&codes, 5)
        } else {
            codes
        };
        Outcome {
            verdict: if self.log.has_failed() {
                pilotage_evidence::Verdict::Error
            } else {
                verdict
            },
            exit_code: rollup::exit_code(&codes),
            codes,
            not_confirmed_dead: by_hand,
        }
    }
}

/// Adds a code in its place; a green one then no longer stands.
fn with_code(codes: &[u8], code: u8) -> Vec<u8> {
    let all = |wanted: &u8| *wanted != 0 && (codes.contains(wanted) || *wanted == code);
    rollup::PRECEDENCE.into_iter().filter(all).collect()
}

fn words_of(panic: &(dyn Any + Send)) -> String {
    let text = panic.downcast_ref::<String>().map(String::as_str);
    text.or_else(|| panic.downcast_ref::<&str>().copied())
        .unwrap_or("no words")
        .to_owned()
}
