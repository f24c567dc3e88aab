//! BC-11: the hard-wired stop is proven with the supply off. The person opens the enclosure, then presses the stop; each
//! input must be seen, and the supply contactor must read open, within 100 ms.
//!
//! Both words of both inputs and of the contactor are seen: an input stuck at one word cannot pass.

use crate::halt::Halt;
use crate::judge::own_limit;
use crate::ready::question;
use crate::runner::Runner;
use crate::values::{interval, missing};
use crate::wording;
use crate::world::{Answer, Bench, BenchError, Clock, Journal, Lane, People, Purpose, Reply};
use futures_util::future;
use pilotage_core::{Datum, Dimension, Quantity, RunTime, Tolerance};
use pilotage_evidence::event::Exchange;
use pilotage_evidence::heading::LimitPlate;
use pilotage_plan::program::ReadSpec;
use std::cell::Cell;
use std::time::Duration;

/// An input must be seen, and the contactor must be open, within this time (bench check BC-11).
const SEEN_WITHIN_S: f64 = 0.1;
/// Time between two looks.
const LOOK_EVERY: Duration = Duration::from_millis(10);
/// How long is looked after the person has answered.
const LOOK_ON: Duration = Duration::from_millis(500);
/// How long input and contactor may take to come back after the person restored them.
const RESTORED_WITHIN: Duration = Duration::from_secs(1);
const CONTACTOR: &str = "supply_contactor";

/// One of the two ways to stop.
struct Trial {
    point: &'static str,
    ready: &'static str,
    stopped: &'static str,
    stop: (Purpose, &'static str),
    restore: (Purpose, &'static str),
}

const TRIALS: [Trial; 2] = [
    Trial {
        point: "enclosure",
        ready: "closed",
        stopped: "open",
        stop: (
            Purpose::OpenEnclosure,
            "Open the guard of the enclosure and leave it open. Do not touch the item. Is it open?",
        ),
        restore: (
            Purpose::CloseEnclosure,
            "Close the guard of the enclosure. Is it closed?",
        ),
    },
    Trial {
        point: "hard_wired_stop",
        ready: "ready",
        stopped: "pressed",
        stop: (Purpose::PressStop, "Press the hard-wired stop. Is it pressed?"),
        restore: (Purpose::ReleaseStop, "Release the hard-wired stop. Is it released?"),
    },
];

/// What was seen of one point: it changed between these two times.
#[derive(Default)]
struct Change {
    last_before: Option<RunTime>,
    seen: Option<RunTime>,
    exchanges: Vec<Exchange>,
}

impl Change {
    fn look(&mut self, wanted: &str, outcome: Result<Answer, BenchError>) -> Result<(), BenchError> {
        let answer = outcome?;
        if self.seen.is_some() {
            return Ok(());
        }
        self.exchanges = answer.exchanges;
        if answer.word.as_deref() == Some(wanted) {
            self.seen = Some(answer.taken.1);
        } else {
            self.last_before = Some(answer.taken.0);
        }
        Ok(())
    }

    /// The time of the change after some moment, as an interval.
    fn since(&self, earliest: RunTime, latest: RunTime, what: &str) -> Datum {
        let (Some(before), Some(seen)) = (self.last_before, self.seen) else {
            return Err(missing(format!("{what} was never seen to change")));
        };
        let low_s = before.since(latest).as_secs_f64();
        let high_s = seen.since(earliest).as_secs_f64();
        interval(
            low_s,
            high_s,
            Dimension::TIME,
            &format!("{what}: time between two looks"),
        )
    }
}

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// Proves both ways to stop; the first that does not work ends the run.
    pub(crate) async fn prove_stop(&mut self) -> Result<(), Halt> {
        for trial in &TRIALS {
            self.restore(trial).await?;
        }
        for trial in &TRIALS {
            self.must_read(CONTACTOR, "closed").await?;
            self.try_stop(trial).await?;
            self.restore(trial).await?;
        }
        self.must_read(CONTACTOR, "closed").await
    }

    /// Asks the person only where the input does not read ready yet.
    async fn restore(&mut self, trial: &Trial) -> Result<(), Halt> {
        let word = self
            .read_point(&ReadSpec::of(trial.point, ""), Lane::Guard)
            .await?
            .reading
            .word;
        if word.as_deref() == Some(trial.ready) {
            return Ok(());
        }
        self.confirmed_by_person(trial.restore.1, trial.restore.0).await?;
        self.must_read(trial.point, trial.ready).await
    }

    /// A relay that is restored may take a moment.
    async fn must_read(&mut self, point: &str, wanted: &str) -> Result<(), Halt> {
        let began = self.clock.now();
        loop {
            let seen = self.read_point(&ReadSpec::of(point, ""), Lane::Guard).await?;
            if seen.reading.word.as_deref() == Some(wanted) {
                return Ok(());
            }
            if self.clock.now().since(began) >= RESTORED_WITHIN {
                let seen = wording::reading(&seen.reading);
                return self.stop_not_proven(&format!(
                    "{point} must read {wanted} before its change can be seen, it reads {seen}"
                ));
            }
            self.clock.sleep(LOOK_ON / 5).await;
        }
    }

    fn stop_not_proven(&mut self, why: &str) -> Result<(), Halt> {
        self.watch.gate().shut();
        let side = Some(pilotage_evidence::Side::Bench);
        self.note(pilotage_evidence::Verdict::Error, why, side);
        Err(Halt::bench(format!("the hard-wired stop is not proven: {why}")))
    }

    async fn try_stop(&mut self, trial: &Trial) -> Result<(), Halt> {
        let replied = Cell::new(None);
        // The first look comes before the question, so that a change is seen and not only its end.
        let mut changes = (Change::default(), Change::default());
        let looked = match self.look(trial, &mut changes).await {
            Ok(()) => {
                let asked = self.ask_to_stop(trial, &replied);
                let (reply, looked) = future::join(asked, self.look_out(trial, &replied, &mut changes)).await;
                self.confirmed(trial.stop.1, reply)?;
                looked
            }
            failed => failed,
        };
        if let Err(error) = looked {
            return Err(self.set_failed(&error)?);
        }
        let (input, contactor) = changes;
        let replied = replied.get().unwrap_or_else(|| self.clock.now());
        self.demand_input(trial, input.since(replied, replied, trial.point), &input)?;
        let seen = (input.last_before.unwrap_or(replied), input.seen.unwrap_or(replied));
        self.demand_contactor(trial, contactor.since(seen.0, seen.1, CONTACTOR), &contactor)
    }

    async fn ask_to_stop(&self, trial: &Trial, replied: &Cell<Option<RunTime>>) -> Option<Reply> {
        let reply = self.people.ask(question(trial.stop.1, trial.stop.0)).await;
        replied.set(Some(self.clock.now()));
        reply
    }

    /// Looks at the input and the contactor until both have changed, or some time after the person has answered.
    async fn look_out(
        &self,
        trial: &Trial,
        replied: &Cell<Option<RunTime>>,
        changes: &mut (Change, Change),
    ) -> Result<(), BenchError> {
        loop {
            self.look(trial, changes).await?;
            let both = changes.0.seen.is_some() && changes.1.seen.is_some();
            let late = |at: RunTime| self.clock.now().since(at) > LOOK_ON;
            if replied.get().is_some_and(|at| both || late(at)) {
                return Ok(());
            }
            self.clock.sleep(LOOK_EVERY).await;
        }
    }

    async fn look(&self, trial: &Trial, changes: &mut (Change, Change)) -> Result<(), BenchError> {
        let (input, contactor) = (ReadSpec::of(trial.point, ""), ReadSpec::of(CONTACTOR, ""));
        let read = |spec| self.bench.read(spec, Lane::Guard);
        let (saw_input, saw_contactor) = future::join(read(&input), read(&contactor)).await;
        changes.0.look(trial.stopped, saw_input)?;
        changes.1.look("open", saw_contactor)
    }

    fn demand_input(&mut self, trial: &Trial, delay: Datum, seen: &Change) -> Result<(), Halt> {
        let limit = limit(&format!(
            "{} is seen {} after the person's answer",
            trial.point, trial.stopped
        ));
        let why = format!(
            "{} was not seen {} within 100 ms: look at its switch, its wiring and the guard input",
            trial.point, trial.stopped
        );
        self.demand_stop(&format!("{}_seen", trial.point), delay, &limit, seen, &why)
    }

    fn demand_contactor(&mut self, trial: &Trial, delay: Datum, seen: &Change) -> Result<(), Halt> {
        let limit = limit(&format!(
            "Supply contactor opens after {} is {}",
            trial.point, trial.stopped
        ));
        let why = format!(
            "the supply contactor was not seen open within 100 ms of {} {}: look at the safety relay and the contactor",
            trial.point, trial.stopped
        );
        self.demand_stop(&format!("{}_contactor_delay", trial.point), delay, &limit, seen, &why)
    }

    fn demand_stop(
        &mut self,
        name: &str,
        delay: Datum,
        limit: &LimitPlate,
        seen: &Change,
        why: &str,
    ) -> Result<(), Halt> {
        let demanded = self.demand_of_bench(name, delay, limit, seen.exchanges.clone(), why);
        if demanded.is_err() {
            self.watch.gate().shut();
        }
        demanded
    }
}

fn limit(title: &str) -> LimitPlate {
    let within = Quantity::new(SEEN_WITHIN_S, Dimension::TIME).expect("a constant of the program is finite");
    own_limit(title, "BC-11", Tolerance::AtMost(within), "ms")
}
