//! The guard box (GUARD-IO): digital inputs that show the safety chain. It can look, never act.

use super::common::tree;
use super::flaws::Flaws;
use super::frame::{Model, Span};
use super::reply::Answer;
use super::syntax::{Header, Intake, Unit, read_line, whole};
use crate::physics::World;
use pilotage_core::RunTime;
use scpi::error::Error;
use std::time::Duration;

/// Number of an input, 1…4.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct AskInput(u32);

/// The model.
pub(crate) struct Guard {
    /// The enclosure's input always says closed.
    stuck: bool,
}

impl Guard {
    pub(crate) fn new(flaws: &Flaws) -> Self {
        Self {
            stuck: flaws.has("guard_stuck"),
        }
    }
}

impl Model for Guard {
    type Order = AskInput;
    const NAME: &'static str = "GUARD-IO";

    fn read(line: &[u8]) -> Vec<Unit<AskInput>> {
        read_line(&TREE, line)
    }

    fn takes(&self, _: &AskInput) -> Duration {
        Duration::from_millis(2)
    }

    fn execute(&mut self, AskInput(number): AskInput, span: Span, world: &mut World) -> Result<Answer, Error> {
        let inputs = world.words(span.now);
        Ok(Answer::flag(match number {
            1 => inputs.enclosure_closed || self.stuck,
            2 => inputs.stop_ready,
            3 => inputs.supply_contactor_closed,
            _ => inputs.load_contactor_closed,
        }))
    }

    fn reset(&mut self, _: RunTime, _: &mut World) {}
}

const DATA: Header<AskInput> = Header {
    set: None,
    ask: Some(|given| whole(given, 1, 4).map(AskInput)),
};

const TREE: scpi::tree::Node<'static, Intake<AskInput>> = tree![Branch![b"DIGital"; Leaf!(b"DATA" => &DATA)]];
