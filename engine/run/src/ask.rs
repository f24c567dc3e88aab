//! Asking a person. Hands at the item only in *isolated*; an answer that nobody can read is no answer.

use crate::halt::Halt;
use crate::runner::{Named, Runner};
use crate::typed;
use crate::values::missing;
use crate::world::{Bench, Clock, Journal, People, Purpose, Question, Reply};
use pilotage_core::{Datum, Dimension, Measured, Quantity};
use pilotage_evidence::{EnergyState, Event, Verdict};
use pilotage_plan::files::sequence::AnswerText;
use pilotage_plan::program::AskSpec;

/// How often an answer that cannot be read is asked for.
const TRIES: u32 = 3;

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// Asks, and judges the answer where the sequence says what passes. A refusal stops the run.
    pub(crate) async fn ask(&mut self, spec: &AskSpec) -> Result<(), Halt> {
        if spec.hands && self.energy != EnergyState::Isolated {
            return Err(Halt::bench(format!(
                "hands are wanted at the item, but it is not isolated ({:?}): {}",
                self.energy, spec.prompt
            )));
        }
        let asked = self.clock.now();
        let (datum, word) = self.answer(spec).await?;
        let unit = match &spec.answer {
            AnswerText::Quantity { unit } => unit.value.as_str(),
            AnswerText::YesNo | AnswerText::Word { .. } => "",
        };
        let named = Named {
            name: &spec.name,
            point: "",
            unit,
        };
        let mut reading = self.computed(&named, datum.clone(), (asked, self.clock.now()));
        reading.word = Some(word);
        let known = self.put_reading(reading)?;
        match (&spec.limit, &datum) {
            (Some(limit), _) => self.judge_against(&known, limit).map(drop),
            (None, Err(reason)) => {
                self.note(Verdict::Inconclusive, format!("{}: {reason}", spec.name), None);
                Ok(())
            }
            (None, Ok(_)) => Ok(()),
        }
    }

    async fn answer(&mut self, spec: &AskSpec) -> Result<(Datum, String), Halt> {
        let mut last = String::new();
        for _ in 0..TRIES {
            let Some(reply) = self.people.ask(put(spec)).await else {
                return Err(Halt::Person(format!("nobody answered: {}", spec.prompt)));
            };
            self.put_asked(spec, &reply)?;
            match read(&spec.answer, &reply.answer, spec.uncertainty) {
                Ok(datum) => return Ok((datum, reply.answer)),
                Err(expected) => {
                    let mend = "type the answer as it is asked for";
                    self.own_trouble(&spec.prompt, &expected, &reply.answer, mend)?;
                    last = reply.answer;
                }
            }
        }
        Ok((
            Err(missing(format!(
                "no readable answer in {TRIES} tries, the last was `{last}`"
            ))),
            last,
        ))
    }

    fn put_asked(&mut self, spec: &AskSpec, reply: &Reply) -> Result<(), Halt> {
        self.log
            .put(Event::Asked {
                prompt: spec.prompt.clone(),
                answer: reply.answer.clone(),
                by: reply.by.clone(),
                hands: spec.hands,
            })
            .map(drop)
    }
}

fn put(spec: &AskSpec) -> Question<'_> {
    Question {
        prompt: &spec.prompt,
        answer: &spec.answer,
        hands: spec.hands,
        purpose: Purpose::Sequence,
        does: spec.does.as_deref(),
    }
}

/// `yes` or `no`; `None` for anything else.
pub(crate) fn yes(answer: &str) -> Option<bool> {
    match answer.trim().to_lowercase().as_str() {
        "yes" | "y" => Some(true),
        "no" | "n" => Some(false),
        _ => None,
    }
}

/// Yes is 1 and no is 0, a word is its position among the choices from 0, a value is itself; else what was expected.
fn read(kind: &AnswerText, answer: &str, uncertainty: Option<Quantity>) -> Result<Datum, String> {
    match kind {
        AnswerText::YesNo => yes(answer)
            .map(|yes| code(usize::from(yes)))
            .ok_or_else(|| "yes or no".to_owned()),
        AnswerText::Word { choices, .. } => {
            let answer = answer.trim();
            let place = choices.iter().position(|choice| choice == answer);
            place.map(code).ok_or_else(|| format!("one of {}", choices.join(", ")))
        }
        AnswerText::Quantity { unit } => typed::value(answer, &unit.value, uncertainty).map(Ok),
    }
}

fn code(number: usize) -> Datum {
    Quantity::new(number as f64, Dimension::NONE).map(Measured::exact)
}

#[cfg(test)]
mod tests {
    use super::{read, yes};
    use pilotage_plan::files::sequence::AnswerText;

    #[test]
    fn only_yes_and_no_are_yes_and_no() {
        assert_eq!(yes(" YES "), Some(true));
        assert_eq!(yes("n"), Some(false));
        for other in ["", "ok", "true", "1", "yes please"] {
            assert_eq!(yes(other), None, "{other}");
        }
    }

    #[test]
    fn a_word_is_its_position_among_the_choices() {
        let kind = AnswerText::Word {
            choices: vec!["green".to_owned(), "red".to_owned()],
            passes: vec!["green".to_owned()],
        };
        let number = |answer| read(&kind, answer, None).map(|datum| datum.map(|seen| seen.value.si()));
        assert_eq!(number("green"), Ok(Ok(0.0)));
        assert_eq!(number(" red "), Ok(Ok(1.0)));
        assert_eq!(number("blue"), Err("one of green, red".to_owned()));
    }
}
