//! The isolated reference (LIVE-REF): about 50 V, AC or DC, that proves a meter live.

use super::common::tree;
use super::frame::{Model, Span};
use super::reply::Answer;
use super::syntax::{Header, Intake, Unit, read_line, word};
use crate::physics::{Action, ReferenceMode, World};
use pilotage_core::RunTime;
use scpi::error::Error;
use std::time::Duration;

/// Time in which its output settles.
const SETTLE: Duration = Duration::from_millis(15);

const WORDS: [(&[u8], ReferenceMode); 3] = [
    (b"OFF", ReferenceMode::Off),
    (b"AC", ReferenceMode::Ac),
    (b"DC", ReferenceMode::Dc),
];

/// What it can be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Order {
    Set(ReferenceMode),
    Ask,
}

/// The model. After power on and `*RST`: off.
pub(crate) struct Reference {
    mode: ReferenceMode,
}

impl Reference {
    pub(crate) fn new() -> Self {
        Self {
            mode: ReferenceMode::Off,
        }
    }

    fn set(&mut self, mode: ReferenceMode, now: RunTime, world: &mut World) {
        self.mode = mode;
        world.act(now, Action::Reference(mode));
    }
}

impl Model for Reference {
    type Order = Order;
    const NAME: &'static str = "LIVE-REF";

    fn read(line: &[u8]) -> Vec<Unit<Order>> {
        read_line(&TREE, line)
    }

    fn takes(&self, order: &Order) -> Duration {
        Duration::from_millis(if *order == Order::Ask { 1 } else { 5 })
    }

    fn settles(&self, order: &Order) -> Duration {
        if *order == Order::Ask { Duration::ZERO } else { SETTLE }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> Result<Answer, Error> {
        match order {
            Order::Set(mode) => {
                self.set(mode, span.now, world);
                Ok(Answer::Nothing)
            }
            Order::Ask => Ok(Answer::word(match self.mode {
                ReferenceMode::Off => "OFF",
                ReferenceMode::Ac => "AC",
                ReferenceMode::Dc => "DC",
            })),
        }
    }

    fn reset(&mut self, now: RunTime, world: &mut World) {
        self.set(ReferenceMode::Off, now, world);
    }
}

const FUNCTION: Header<Order> = Header {
    set: Some(|given| word(given, &WORDS).map(Order::Set)),
    ask: Some(|_| Ok(Order::Ask)),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> = tree![Branch![b"SOURce"; Leaf!(b"FUNCtion" => &FUNCTION)]];
