//! BC-11: the hard-wired stop is proven with the supply off. The person opens the enclosure, then presses the stop; each
//! input must be seen, and every contactor that the stop opens must read open, within 100 ms. A source behind such a contactor that can
//! tell what it shows then shows no more than a touch voltage.
//!
//! Both words of both inputs and of each contactor are seen: an input stuck at one word cannot pass.

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
use pilotage_plan::contactor::{Contactor, StopOpens};
use pilotage_plan::program::ReadSpec;
use std::cell::Cell;
use std::time::Duration;

/// An input must be seen, and each contactor must be open, within this time (bench check BC-11).
const SEEN_WITHIN_S: f64 = 0.1;
/// Time between two looks.
const LOOK_EVERY: Duration = Duration::from_millis(10);
/// How long is looked after the person has answered.
const LOOK_ON: Duration = Duration::from_millis(500);
/// How long input and contactors may take to come back after the person restored them.
const RESTORED_WITHIN: Duration = Duration::from_secs(1);

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

/// What was seen while the person stops.
struct Changes {
    /// Of the input itself.
    input: Change,
    /// Of what it opens.
    contactors: Vec<(&'static Contactor, Change)>,
}

impl Changes {
    fn all_seen(&self) -> bool {
        self.input.seen.is_some() && self.contactors.iter().all(|(_, change)| change.seen.is_some())
    }
}

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// Proves both ways to stop; the first that does not work ends the run.
    pub(crate) async fn prove_stop(&mut self) -> Result<(), Halt> {
        for trial in &TRIALS {
            self.restore(trial).await?;
        }
        for trial in &TRIALS {
            self.must_be_closed().await?;
            self.try_stop(trial).await?;
            self.restore(trial).await?;
        }
        self.must_be_closed().await
    }

    async fn must_be_closed(&mut self) -> Result<(), Halt> {
        for opens in &self.program.stop_opens {
            self.must_read(opens.contactor.point, "closed").await?;
        }
        Ok(())
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
        let contactors = self.program.stop_opens.iter();
        let mut changes = Changes {
            input: Change::default(),
            contactors: contactors.map(|opens| (opens.contactor, Change::default())).collect(),
        };
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
        let Changes { input, contactors } = changes;
        let replied = replied.get().unwrap_or_else(|| self.clock.now());
        self.demand_input(trial, input.since(replied, replied, trial.point), &input)?;
        let seen = (input.last_before.unwrap_or(replied), input.seen.unwrap_or(replied));
        for (contactor, change) in &contactors {
            let delay = change.since(seen.0, seen.1, contactor.point);
            self.demand_contactor(trial, contactor, delay, change)?;
        }
        self.demand_nothing_shown(trial).await
    }

    /// What stands behind an open contactor and tells what it shows.
    async fn demand_nothing_shown(&mut self, trial: &Trial) -> Result<(), Halt> {
        let opened = self.program.stop_opens.iter();
        for StopOpens { contactor, shows } in opened {
            let Some(read) = shows else { continue };
            let limit = LimitPlate {
                title: format!("{} after {} is {}", read.point, trial.point, trial.stopped),
                place: "BC-11".to_owned(),
                ..self.program.dead.limits.1.clone()
            };
            let why = format!(
                "behind the open {} {} is more than a touch voltage, or could not be read: look at what is behind it",
                contactor.name, read.point
            );
            let answer = match self.bench.read(read, Lane::Guard).await {
                Ok(answer) => answer,
                Err(error) => return Err(self.set_failed(&error)?),
            };
            let name = format!("{}_{}", trial.point, read.point.replace('.', "_"));
            self.demand_stop(&name, answer.datum, &limit, answer.exchanges, &why)?;
        }
        Ok(())
    }

    async fn ask_to_stop(&self, trial: &Trial, replied: &Cell<Option<RunTime>>) -> Option<Reply> {
        let reply = self.people.ask(question(trial.stop.1, trial.stop.0)).await;
        replied.set(Some(self.clock.now()));
        reply
    }

    /// Looks at the input and the contactors until all have changed, or some time after the person has answered.
    async fn look_out(
        &self,
        trial: &Trial,
        replied: &Cell<Option<RunTime>>,
        changes: &mut Changes,
    ) -> Result<(), BenchError> {
        loop {
            self.look(trial, changes).await?;
            let late = |at: RunTime| self.clock.now().since(at) > LOOK_ON;
            if replied.get().is_some_and(|at| changes.all_seen() || late(at)) {
                return Ok(());
            }
            self.clock.sleep(LOOK_EVERY).await;
        }
    }

    async fn look(&self, trial: &Trial, changes: &mut Changes) -> Result<(), BenchError> {
        let points = changes.contactors.iter().map(|(contactor, _)| contactor.point);
        let specs: Vec<ReadSpec> = [trial.point]
            .into_iter()
            .chain(points)
            .map(|point| ReadSpec::of(point, ""))
            .collect();
        let read = |spec| self.bench.read(spec, Lane::Guard);
        let mut saw = future::join_all(specs.iter().map(read)).await.into_iter();
        let wanted = [(&mut changes.input, trial.stopped)].into_iter();
        let contactors = changes.contactors.iter_mut().map(|(_, change)| (change, "open"));
        for (change, wanted) in wanted.chain(contactors) {
            let Some(outcome) = saw.next() else { break };
            change.look(wanted, outcome)?;
        }
        Ok(())
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
        self.demand_stop(
            &format!("{}_seen", trial.point),
            delay,
            &limit,
            seen.exchanges.clone(),
            &why,
        )
    }

    fn demand_contactor(
        &mut self,
        trial: &Trial,
        contactor: &Contactor,
        delay: Datum,
        seen: &Change,
    ) -> Result<(), Halt> {
        let limit = limit(&format!(
            "The {} opens after {} is {}",
            contactor.name, trial.point, trial.stopped
        ));
        let why = format!(
            "the {} was not seen open within 100 ms of {} {}: look at the safety relay and the contactor",
            contactor.name, trial.point, trial.stopped
        );
        // The one of the supply, which every bench has, goes without its first name.
        let contactor = contactor.point.trim_start_matches("supply_");
        let name = format!("{}_{contactor}_delay", trial.point);
        self.demand_stop(&name, delay, &limit, seen.exchanges.clone(), &why)
    }

    fn demand_stop(
        &mut self,
        name: &str,
        seen: Datum,
        limit: &LimitPlate,
        exchanges: Vec<Exchange>,
        why: &str,
    ) -> Result<(), Halt> {
        let demanded = self.demand_of_bench(name, seen, limit, exchanges, why);
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
