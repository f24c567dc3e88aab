//! Asking a person. Hands at the item only in *isolated*; an answer that nobody can read is no answer.

use crate::halt::Halt;
use crate::runner::{Named, Runner};
use crate::typed;
use crate::values::missing;
use crate::world::{Bench, Clock, Journal, People, Purpose, Question, Reply};
use pilotage_core::{Datum, Dimension, Measured, Quantity, Uncertainty};
use pilotage_evidence::{EnergyState, Event, Verdict};
use pilotage_plan::files::sequence::AnswerText;
use pilotage_plan::program::AskSpec;
use pilotage_plan::sources;

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
        let datum = datum.map(|measured| of_one_answer(measured, &spec.name));
        let unit = match &spec.answer {
            AnswerText::Quantity { unit } => unit.value.as_str(),
            AnswerText::YesNo | AnswerText::Done | AnswerText::Word { .. } => "",
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
                if spec.answer == AnswerText::Done {
                    self.leave_undecided(format!("{}: {reason}", spec.name));
                }
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

/// Its sources bear its name.
fn of_one_answer(mut measured: Measured, name: &str) -> Measured {
    if let Uncertainty::Known(terms) = &mut measured.uncertainty {
        for term in terms {
            term.source = sources::of_answer(&term.source, name);
        }
    }
    measured
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
        AnswerText::Done => match yes(answer) {
            Some(true) => Ok(code(1)),
            Some(false) => Ok(Err(missing("what was asked for was not done".to_owned()))),
            None => Err("yes once it is done, or no".to_owned()),
        },
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
    #![allow(clippy::unwrap_used, reason = "tests")]
    use super::{of_one_answer, read, yes};
    use pilotage_core::{Quantity, Uncertainty};
    use pilotage_plan::files::sequence::AnswerText;
    use pilotage_plan::source::{Sp, Span};

    /// A difference of two typed values has the uncertainty of both: 18 Ω and 18 Ω make 25 Ω, and not nothing.
    #[test]
    fn what_two_answers_have_wrong_does_not_cancel() {
        let kind = AnswerText::Quantity {
            unit: Sp {
                value: "Ω".to_owned(),
                span: Span {
                    file: "t".into(),
                    line: 1,
                    column: 1,
                    offset: 0,
                    length: 0,
                },
            },
        };
        let stated = Quantity::parse("18 Ω").ok();
        let typed = |name| of_one_answer(read(&kind, "2711 Ω", stated).unwrap().unwrap(), name);
        let (Uncertainty::Known(one), Uncertainty::Known(again)) =
            (typed("r").uncertainty, typed("r_again").uncertainty)
        else {
            panic!("both are known")
        };
        assert_ne!(one[0].source, again[0].source);
        assert!((one[0].standard - 9.0).abs() < 1e-12);
    }

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
