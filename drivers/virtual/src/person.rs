//! The virtual person: does what a prompt is for (locks, opens, presses), and answers questions from the item's words.
//!
//! Words of the setup that a person heeds, none of them needed:
//!
//! | word | effect |
//! | --- | --- |
//! | `person_yes_no`, `person_word`, `person_quantity` | the answer to every question of that kind |
//! | `person_` and words of a prompt joined by `_`, e.g. `person_breaker_rating: 32 A` | the answer to prompts that contain them in this order; the longest that fits wins over the kind |
//! | `person_lock_isolator`, `person_unlock_isolator`, `person_open_enclosure`, `person_close_enclosure`, `person_press_stop`, `person_release_stop`, `person_press_release`, `person_let_release_go`, `person_begin_flexing`, `person_end_flexing`, `person_begin_pulling`, `person_end_pulling`, `person_mate_again` | `does` (what healthy persons do), `forgets` (says yes and does nothing), `refuses` (gives no answer) |
//!
//! Without any: yes; the first word that passes; and no answer to a quantity, since nothing is known to answer with. What `hand_meter`
//! knows how to measure is measured then.

use crate::hand_meter::{self, Measured, measured};
use crate::physics::{Action, Setup, World};
use pilotage_core::RunTime;
use std::collections::BTreeMap;
use std::time::Duration;

/// What a person can be asked to do, by its word; `person_` and the word is the setting that changes it.
const DEEDS: [(&str, Action); 13] = [
    ("lock_isolator", Action::Isolator { locked: true }),
    ("unlock_isolator", Action::Isolator { locked: false }),
    ("open_enclosure", Action::Enclosure { closed: false }),
    ("close_enclosure", Action::Enclosure { closed: true }),
    ("press_stop", Action::Stop { pressed: true }),
    ("release_stop", Action::Stop { pressed: false }),
    ("press_release", Action::Latch { pressed: true }),
    ("let_release_go", Action::Latch { pressed: false }),
    ("begin_flexing", Action::Flex { on: true }),
    ("end_flexing", Action::Flex { on: false }),
    ("begin_pulling", Action::Pull { on: true }),
    ("end_pulling", Action::Pull { on: false }),
    ("mate_again", Action::Mate),
];

/// The action of a word; a word that moves nothing has none.
fn deed(word: Option<&str>) -> Option<(&'static str, Action)> {
    DEEDS.into_iter().find(|(known, _)| Some(*known) == word)
}

/// What kind of answer is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wanted<'a> {
    /// Yes or no.
    YesNo,
    /// One of these words.
    Word {
        /// All that may be answered.
        choices: &'a [String],
        /// Those that pass.
        passes: &'a [String],
    },
    /// A number with a unit.
    Quantity,
}

impl Wanted<'_> {
    fn setting(self) -> &'static str {
        match self {
            Self::YesNo => "person_yes_no",
            Self::Word { .. } => "person_word",
            Self::Quantity => "person_quantity",
        }
    }

    fn usual(self) -> Option<String> {
        match self {
            Self::YesNo => Some("yes".to_owned()),
            Self::Word { choices, passes } => passes.first().or(choices.first()).cloned(),
            Self::Quantity => None,
        }
    }
}

/// What the person does and says.
#[derive(Debug, Clone, PartialEq)]
pub struct Deed {
    /// What is answered; `None` is a refusal.
    pub answer: Option<String>,
    /// What is done in the world, before the answer is given.
    pub actions: Vec<Action>,
    /// What is measured by hand then, in the place of an answer.
    measures: Option<(Measured, u64)>,
    /// How long it takes: the actions and the answer come then.
    pub after: Duration,
}

impl Deed {
    /// Does it in a world, and gives the answer.
    pub fn done(self, world: &mut World, now: RunTime) -> Option<String> {
        for action in self.actions {
            world.act(now, action);
        }
        match self.measures {
            Some((what, seed)) => Some(hand_meter::typed(what, world, now, seed)),
            None => self.answer,
        }
    }
}

/// Whether a person can measure what this word asks for.
pub fn can_measure(does: Option<&str>) -> bool {
    measured(does).is_some()
}

/// The virtual person.
#[derive(Debug, Clone)]
pub struct Person {
    words: BTreeMap<String, String>,
    seed: u64,
    asked: u64,
}

impl Person {
    /// A person who knows the words of this setup, and whose slowness is keyed by its seed.
    pub fn new(setup: &Setup) -> Self {
        let heeded = setup.words.iter().filter(|(name, _)| name.starts_with("person_"));
        Self {
            words: heeded.map(|(name, word)| (name.clone(), word.clone())).collect(),
            seed: setup.seed,
            asked: 0,
        }
    }

    /// The answer to a prompt. `does` is the word of what the person is asked to do: one of those in the table above,
    /// without its `person_`. Without it, or with a word that moves nothing, it is a plain question.
    pub fn answer(&mut self, does: Option<&str>, prompt: &str, wanted: Wanted<'_>) -> Deed {
        self.asked += 1;
        let after = self.lag();
        let Some((word, action)) = deed(does) else {
            let answer = self.reply(prompt, wanted);
            let measures = measured(does).filter(|_| answer.is_none());
            return Deed {
                answer,
                actions: Vec::new(),
                measures: measures.map(|what| (what, self.seed)),
                after,
            };
        };
        let manner = self.words.get(&format!("person_{word}")).map(String::as_str);
        Deed {
            answer: (manner != Some("refuses")).then(|| "yes".to_owned()),
            actions: match manner {
                Some("refuses" | "forgets") => Vec::new(),
                _ => vec![action],
            },
            measures: None,
            after,
        }
    }

    /// The answer to a question of the sequence; `None` where nothing is known to answer with.
    pub fn reply(&self, prompt: &str, wanted: Wanted<'_>) -> Option<String> {
        let prompt = format!("_{}_", slug(prompt));
        self.words
            .iter()
            .filter(|(name, _)| prompt.contains(&format!("_{}_", &name["person_".len()..])))
            .max_by_key(|(name, _)| name.len())
            .map(|(_, word)| word.clone())
            .or_else(|| self.words.get(wanted.setting()).cloned())
            .or_else(|| wanted.usual())
    }

    /// Two to six seconds, to the millisecond, keyed by the number of the question.
    fn lag(&self) -> Duration {
        let bits = crate::instruments::mix(self.seed ^ crate::instruments::mix(self.asked));
        Duration::from_millis(2000 + bits % 4001)
    }
}

/// The word of the setup that answers this prompt, whatever else is asked.
pub fn word_for(prompt: &str) -> String {
    format!("person_{}", slug(prompt))
}

/// Letters and figures of a text in lower case, everything between them as one `_`.
fn slug(text: &str) -> String {
    let words = text
        .split(|letter: char| !letter.is_alphanumeric())
        .filter(|word| !word.is_empty());
    words.map(str::to_lowercase).collect::<Vec<_>>().join("_")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn person(words: &[(&str, &str)]) -> Person {
        let words = words
            .iter()
            .map(|(name, word)| ((*name).to_owned(), (*word).to_owned()))
            .collect();
        Person::new(&Setup {
            words,
            seed: 4,
            ..Setup::default()
        })
    }

    fn said(person: &mut Person, prompt: &str, wanted: Wanted<'_>) -> Option<String> {
        person.answer(None, prompt, wanted).answer
    }

    #[test]
    fn does_what_the_prompt_is_for() {
        let mut healthy = person(&[]);
        for (word, action) in DEEDS {
            let deed = healthy.answer(Some(word), "", Wanted::YesNo);
            assert_eq!((deed.answer.as_deref(), deed.actions), (Some("yes"), vec![action]));
        }
    }

    #[test]
    fn a_word_that_moves_nothing_is_a_plain_question() {
        let deed = person(&[("person_yes_no", "no")]).answer(Some("look"), "Whole?", Wanted::YesNo);
        assert_eq!((deed.answer.as_deref(), deed.actions), (Some("no"), vec![]));
    }

    #[test]
    fn forgets_and_refuses_where_the_words_say_so() {
        let mut careless = person(&[("person_lock_isolator", "forgets"), ("person_press_stop", "refuses")]);
        let lock = careless.answer(Some("lock_isolator"), "Lock Q1", Wanted::YesNo);
        assert_eq!((lock.answer.as_deref(), lock.actions), (Some("yes"), vec![]));
        let press = careless.answer(Some("press_stop"), "Press S1", Wanted::YesNo);
        assert_eq!((press.answer, press.actions), (None, vec![]));
    }

    #[test]
    fn answers_by_kind_and_by_prompt() {
        let (choices, passes) = (["worn".to_owned(), "clean".to_owned()], ["clean".to_owned()]);
        let word = Wanted::Word {
            choices: &choices,
            passes: &passes,
        };
        let mut plain = person(&[]);
        assert_eq!(said(&mut plain, "Contacts?", word).as_deref(), Some("clean"));
        assert_eq!(said(&mut plain, "Plate?", Wanted::YesNo).as_deref(), Some("yes"));
        assert_eq!(said(&mut plain, "Breaker rating?", Wanted::Quantity), None);

        let mut told = person(&[
            ("person_word", "worn"),
            ("person_breaker_rating", "32 A"),
            ("person_rating", "16 A"),
            ("person_yes_no", "no"),
        ]);
        assert_eq!(said(&mut told, "Contacts?", word).as_deref(), Some("worn"));
        assert_eq!(
            said(&mut told, "What is the breaker  rating, in A?", Wanted::Quantity).as_deref(),
            Some("32 A")
        );
        assert_eq!(
            said(&mut told, "Rating of the plug?", Wanted::Quantity).as_deref(),
            Some("16 A")
        );
        assert_eq!(said(&mut told, "Integrating?", Wanted::YesNo).as_deref(), Some("no"));
    }

    #[test]
    fn takes_two_to_six_seconds_and_the_same_each_time() {
        let lags = |seed| {
            let mut person = Person::new(&Setup {
                seed,
                ..Setup::default()
            });
            (0..200)
                .map(|_| person.answer(None, "", Wanted::YesNo).after)
                .collect::<Vec<_>>()
        };
        let first = lags(1);
        assert!(first.iter().all(|lag| (2.0..=6.0).contains(&lag.as_secs_f64())));
        assert!(first.iter().any(|lag| lag.as_secs_f64() < 2.5) && first.iter().any(|lag| lag.as_secs_f64() > 5.5));
        assert_eq!(first, lags(1));
        assert_ne!(first, lags(2));
    }
}
