//! The switch box at a charger (SWITCH-BOX): the burden across its DC output, the interlock loop of its high-voltage connector,
//! and what the inputs of the capture instrument are led to.

use super::common::tree;
use super::frame::{Model, Span};
use super::inputs::Inputs;
use super::relays::{self, SETTLE};
use super::reply::Answer;
use super::syntax::{Header, Intake, Unit, read_line, switch, word};
use crate::physics::{Action, World};
use pilotage_core::RunTime;
use scpi::error::Error;
use std::time::Duration;

/// What it can be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Order {
    SetBurden(bool),
    AskBurden,
    CloseLoop(bool),
    AskLoop,
    LeadInputs(bool),
    AskInputs,
}

/// The model. After power on and `*RST`: no burden, the loop closed, inputs on the item.
pub(crate) struct SwitchBox {
    burden: bool,
    closed: bool,
    inputs: Inputs,
}

impl SwitchBox {
    pub(crate) fn new(inputs: Inputs) -> Self {
        Self {
            burden: false,
            closed: true,
            inputs,
        }
    }
}

impl Model for SwitchBox {
    type Order = Order;
    const NAME: &'static str = "SWITCH-BOX";

    fn read(line: &[u8]) -> Vec<Unit<Order>> {
        read_line(&TREE, line)
    }

    fn takes(&self, order: &Order) -> Duration {
        relays::takes(self.settles(order))
    }

    fn settles(&self, order: &Order) -> Duration {
        match order {
            Order::SetBurden(_) | Order::CloseLoop(_) | Order::LeadInputs(_) => SETTLE,
            _ => Duration::ZERO,
        }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> Result<Answer, Error> {
        match order {
            Order::SetBurden(on) => {
                self.burden = on;
                world.act(span.now, Action::Burden { on });
            }
            Order::CloseLoop(closed) => {
                self.closed = closed;
                world.act(span.now, Action::InterlockLoop { closed });
            }
            Order::LeadInputs(to_reference) => self.inputs.lead(to_reference, span.now),
            Order::AskBurden => return Ok(Answer::flag(self.burden)),
            Order::AskLoop => return Ok(Answer::word(if self.closed { "CLOS" } else { "OPEN" })),
            Order::AskInputs => return Ok(Answer::word(self.inputs.word())),
        }
        Ok(Answer::Nothing)
    }

    fn reset(&mut self, now: RunTime, world: &mut World) {
        self.inputs.lead(false, now);
        *self = Self::new(self.inputs.clone());
        world.act(now, Action::Burden { on: false });
        world.act(now, Action::InterlockLoop { closed: true });
    }
}

type H = Header<Order>;
const BURDEN: H = Header {
    set: Some(|given| switch(given).map(Order::SetBurden)),
    ask: Some(|_| Ok(Order::AskBurden)),
};
const LOOP: H = Header {
    set: Some(|given| word(given, &[(b"CLOSed", true), (b"OPEN", false)]).map(Order::CloseLoop)),
    ask: Some(|_| Ok(Order::AskLoop)),
};
const INPUTS: H = Header {
    set: Some(|given| Inputs::read(given).map(Order::LeadInputs)),
    ask: Some(|_| Ok(Order::AskInputs)),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> = tree![Branch![b"ROUTe";
    Leaf!(b"BURDen" => &BURDEN),
    Leaf!(b"ILOop" => &LOOP),
    Leaf!(b"CAPTure" => &INPUTS)
]];
