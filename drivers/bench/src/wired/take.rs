//! Reading a point.

use super::open::{Talk, Wired, unserved};
use crate::interpret::Problem;
use crate::interpret::tables::{Measure, Query, Serves, Service};
use crate::interpret::values::{answers, datum};
use crate::scpi::reply::one_number;
use futures_util::future::join_all;
use pilotage_core::{NoValue, RunTime};
use pilotage_evidence::event::Trouble;
use pilotage_plan::program::ReadSpec;
use pilotage_plan::sources::Sources;
use pilotage_run::world::{Answer, BenchError, Lane};

impl<C> Wired<C> {
    /// Reads at the same time. The last query to each instrument asks for its errors too.
    pub(super) async fn take_all(&self, what: &[ReadSpec]) -> Vec<Result<Answer, BenchError>> {
        let serving = |spec: &ReadSpec| self.service(&spec.point).ok().map(|service| &service.instrument);
        let instruments: Vec<_> = what.iter().map(serving).collect();
        let last = |place: usize| !instruments[place + 1..].contains(&instruments[place]);
        let reads = what.iter().enumerate();
        let mut answers = join_all(reads.map(|(place, spec)| self.take(spec, Lane::Work, last(place)))).await;
        for name in instruments.iter().flatten() {
            let found = self
                .instruments
                .get(*name)
                .and_then(|one| one.asked.borrow_mut().found.take());
            let own = answers
                .iter_mut()
                .zip(&instruments)
                .filter(|(_, by)| **by == Some(*name));
            if let Some(trouble) = found {
                own.for_each(|(answer, _)| doubt(answer, &trouble));
            }
        }
        answers
    }

    /// Reads one point; `last` where nothing else will be asked in this act.
    pub(super) async fn take(&self, what: &ReadSpec, lane: Lane, last: bool) -> Result<Answer, BenchError> {
        let service = self.service(&what.point)?;
        let talk = self.talk(&service.instrument, lane)?;
        match &service.serves {
            Serves::Measure(measure) => talk.number(service, measure, self.next_reading(), last).await,
            Serves::Amount(amount) => {
                let measure = set_point(service, amount.unit, &amount.ask);
                talk.number(service, &measure, self.next_reading(), last).await
            }
            Serves::Word { ask, answers } => {
                let words = answers.iter().map(|(reply, word)| (reply.as_str(), word.as_str()));
                talk.word(ask, words.collect(), last).await
            }
            Serves::Choose(choices) => {
                // All positions of a selector that are read by the first one's query.
                let Some(first) = choices.first() else {
                    return Err(unserved(&no_positions(service)));
                };
                let words = choices.iter().filter(|choice| choice.ask == first.ask);
                let words = words.map(|choice| (choice.answer.as_str(), choice.word.as_str()));
                talk.word(&first.ask, words.collect(), last).await
            }
            Serves::Capture(_) => Err(unserved(&Problem::new(
                &what.point,
                "this point is captured, not read",
                "use `capture` and `find`",
            ))),
        }
    }
}

/// An answer with an error behind it is none: the queue does not say which query of the act it came of.
fn doubt(answer: &mut Result<Answer, BenchError>, trouble: &Trouble) {
    if let Ok(given) = answer {
        *answer = Err(BenchError {
            trouble: Box::new(trouble.clone()),
            exchanges: std::mem::take(&mut given.exchanges),
        });
    }
}

fn no_positions(service: &Service) -> Problem {
    Problem::new(
        &service.point,
        format!("function `{}` ({}) has no position", service.function, service.driver),
        "add one to `choose`",
    )
}

/// A set point read back: what the instrument was told, not what it does.
fn set_point(service: &Service, unit: pilotage_core::Unit, ask: &Query) -> Measure {
    Measure {
        unit,
        ask: ask.clone(),
        deadline: None,
        aperture: std::time::Duration::ZERO,
        accuracy: Err(format!(
            "{} reads back its set point; no accuracy is stated for it",
            service.instrument
        )),
        sources: Sources::new(&service.instrument, &service.function, &service.point),
    }
}

impl Talk<'_> {
    async fn number(
        mut self,
        service: &Service,
        measure: &Measure,
        serial: u64,
        last: bool,
    ) -> Result<Answer, BenchError> {
        let (number, done) = self.query(&measure.ask, last, measure.deadline, one_number).await?;
        let aperture = u64::try_from(measure.aperture.as_nanos()).unwrap_or(u64::MAX);
        // An instrument that averages all the time may have begun before it was asked.
        let from = done.began.min(RunTime(done.ended.0.saturating_sub(aperture)));
        Ok(Answer {
            datum: datum(service, measure, number, serial),
            word: None,
            taken: (from, done.ended),
            exchanges: self.exchanges,
        })
    }

    async fn word(mut self, ask: &Query, words: Vec<(&str, &str)>, last: bool) -> Result<Answer, BenchError> {
        let read = |reply: &crate::scpi::Reply<'_>| {
            let known = words.iter().find(|(answer, _)| answers(reply, answer));
            known.map(|(_, word)| (*word).to_owned()).ok_or_else(|| {
                let answers: Vec<&str> = words.iter().map(|(answer, _)| *answer).collect();
                reply.refuse(
                    &format!("one of {}", answers.join(", ")),
                    "add the reply to the driver's `answers`",
                )
            })
        };
        let (word, done) = self.query(ask, last, None, read).await?;
        Ok(Answer {
            datum: Err(NoValue::Missing("the point answers in words".to_owned())),
            word: Some(word),
            taken: (done.began, done.ended),
            exchanges: self.exchanges,
        })
    }
}
