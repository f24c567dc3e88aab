//! The virtual person as one of the people of a run: acts on the virtual world, then answers.

use super::interrupt;
use crate::people::deed;
use pilotage_evidence::heading::CautionText;
use pilotage_plan::files::sequence::AnswerText;
use pilotage_run::world::{Clock, People, Question, Reply};
use pilotage_virtual::person::{Person, Wanted};
use pilotage_virtual::physics::SharedWorld;
use std::cell::RefCell;
use std::sync::PoisonError;

/// Who answers, as records name it.
const NAME: &str = "virtual person";

/// The virtual person at the virtual bench.
pub struct VirtualPerson<C> {
    person: RefCell<Person>,
    world: SharedWorld,
    clock: C,
}

impl<C: Clock> VirtualPerson<C> {
    /// At a world, on a clock.
    pub fn new(person: Person, world: SharedWorld, clock: C) -> Self {
        Self {
            person: RefCell::new(person),
            world,
            clock,
        }
    }
}

impl<C: Clock> People for VirtualPerson<C> {
    async fn ask(&self, question: Question<'_>) -> Option<Reply> {
        let deed = {
            let mut person = self.person.borrow_mut();
            let does = deed(question.purpose).or(question.does);
            person.answer(does, question.prompt, wanted(question.answer))
        };
        self.clock.sleep(deed.after).await;
        let now = self.clock.now();
        let mut world = self.world.lock().unwrap_or_else(PoisonError::into_inner);
        deed.done(&mut world, now).map(|answer| Reply {
            answer,
            by: NAME.to_owned(),
        })
    }

    async fn acknowledge(&self, _: &CautionText) -> Option<String> {
        Some(NAME.to_owned())
    }

    async fn stop_wanted(&self) {
        interrupt::pressed().await;
    }
}

fn wanted(answer: &AnswerText) -> Wanted<'_> {
    match answer {
        AnswerText::YesNo | AnswerText::Done => Wanted::YesNo,
        AnswerText::Word { choices, passes } => Wanted::Word { choices, passes },
        AnswerText::Quantity { .. } => Wanted::Quantity,
    }
}
