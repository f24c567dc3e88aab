//! Reading a point.

use super::open::{Talk, Wired};
use crate::actor::Message;
use crate::interpret::tables::{Amount, Measure, Serves, Service};
use crate::interpret::values::{answers, datum};
use crate::scpi::reply::one_number;
use pilotage_core::{NoValue, RunTime};
use pilotage_plan::program::ReadSpec;
use pilotage_run::world::{Answer, BenchError, Lane};

impl<C> Wired<C> {
    pub(super) async fn take(&self, what: &ReadSpec, lane: Lane) -> Result<Answer, BenchError> {
        let service = self.service(&what.point)?;
        let talk = self.talk(&service.instrument, lane)?;
        match &service.serves {
            Serves::Measure(measure) => talk.number(service, measure, self.next_reading()).await,
            Serves::Amount(amount) => {
                talk.number(service, &set_point(service, amount), self.next_reading())
                    .await
            }
            Serves::Word { ask, answers } => {
                let words = answers.iter().map(|(reply, word)| (reply.as_str(), word.as_str()));
                talk.word(ask, words.collect()).await
            }
            Serves::Choose(choices) => {
                // All positions of a selector that are read by the first one's query.
                let ask = choices.first().map_or("", |choice| choice.ask.as_str());
                let words = choices.iter().filter(|choice| choice.ask == ask);
                talk.word(
                    ask,
                    words
                        .map(|choice| (choice.answer.as_str(), choice.word.as_str()))
                        .collect(),
                )
                .await
            }
            Serves::Capture(_) => {
                let problem = crate::interpret::Problem::new(
                    &what.point,
                    "this point is captured, not read",
                    "use `capture` and `find`",
                );
                Err(super::open::unserved(&problem))
            }
        }
    }
}

/// A set point read back: what the instrument was told, not what it does.
fn set_point(service: &Service, amount: &Amount) -> Measure {
    Measure {
        unit: amount.unit,
        ask: amount.ask.clone(),
        deadline: None,
        aperture: std::time::Duration::ZERO,
        accuracy: Err(format!(
            "{} reads back its set point; no accuracy is stated for it",
            service.instrument
        )),
    }
}

impl Talk<'_> {
    async fn number(mut self, service: &Service, measure: &Measure, serial: u64) -> Result<Answer, BenchError> {
        let deadline = measure.deadline.unwrap_or(self.table.deadline);
        let done = self.send(Message::query(&measure.ask, deadline)).await?;
        let number = self.read(&measure.ask, &done, one_number)?;
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

    async fn word(mut self, ask: &str, words: Vec<(&str, &str)>) -> Result<Answer, BenchError> {
        let done = self.ask(ask).await?;
        let word = self.read(ask, &done, |reply| {
            let known = words.iter().find(|(answer, _)| answers(reply, answer));
            known.map(|(_, word)| (*word).to_owned()).ok_or_else(|| {
                let answers: Vec<&str> = words.iter().map(|(answer, _)| *answer).collect();
                reply.refuse(
                    &format!("one of {}", answers.join(", ")),
                    "add the reply to the driver's `answers`",
                )
            })
        })?;
        Ok(Answer {
            datum: Err(NoValue::Missing("the point answers in words".to_owned())),
            word: Some(word),
            taken: (done.began, done.ended),
            exchanges: self.exchanges,
        })
    }
}
