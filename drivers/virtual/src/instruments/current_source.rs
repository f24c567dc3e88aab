//! The current source (CURRENT-63): DC of at most 63 A at a few volts through the power contacts, to see how warm they get.

use super::accuracy::Accuracy;
use super::common::tree;
use super::frame::{Model, Span};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{AMPERE, Amount, Header, Intake, Unit, read_line, switch};
use crate::physics::{Action, Node, World};
use pilotage_core::RunTime;
use scpi::error::Error;
use std::time::Duration;

/// Time over which it measures.
const APERTURE: Duration = Duration::from_millis(100);
const CURRENT: Amount = Amount {
    suffixes: AMPERE,
    low: 0.0,
    high: 63.0,
};
/// Figures as in `drivers/files/current_source.yaml`.
const ACCURACY: Accuracy = Accuracy {
    of_reading: 0.1e-2,
    constant: 0.03,
    resolution: 1e-3,
};
/// How far the current may lie from its set point, relative.
const SET: f64 = 0.1e-2;

/// What it can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Order {
    SetCurrent(f64),
    AskCurrent,
    SetOutput(bool),
    AskOutput,
    Measure,
}

/// The model. After power on and `*RST`: off, 0 A.
pub(crate) struct CurrentSource {
    noise: Noise,
    amps: f64,
    on: bool,
}

impl CurrentSource {
    pub(crate) fn new(noise: Noise) -> Self {
        Self {
            noise,
            amps: 0.0,
            on: false,
        }
    }

    fn set(&mut self, amps: f64, now: RunTime, world: &mut World) {
        self.amps = amps;
        let flows = amps * (1.0 + self.noise.property("set") * SET);
        world.act(now, Action::LoadCurrent(flows));
    }

    fn switch(&mut self, on: bool, now: RunTime, world: &mut World) {
        self.on = on;
        world.act(now, Action::Load { on });
    }
}

impl Model for CurrentSource {
    type Order = Order;
    const NAME: &'static str = "CURRENT-63";

    fn read(line: &[u8]) -> Vec<Unit<Order>> {
        read_line(&TREE, line)
    }

    fn takes(&self, order: &Order) -> Duration {
        match order {
            Order::SetCurrent(_) | Order::SetOutput(_) => Duration::from_millis(5),
            Order::AskCurrent | Order::AskOutput => Duration::from_millis(1),
            Order::Measure => APERTURE,
        }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> Result<Answer, Error> {
        Ok(match order {
            Order::SetCurrent(amps) => {
                self.set(amps, span.now, world);
                Answer::Nothing
            }
            Order::SetOutput(on) => {
                self.switch(on, span.now, world);
                Answer::Nothing
            }
            Order::AskCurrent => Answer::set_point(self.amps),
            Order::AskOutput => Answer::flag(self.on),
            Order::Measure => {
                let (from, to) = span.aperture(APERTURE);
                let truth = world.mean(Node::SourceCurrent, from, to);
                Answer::number(ACCURACY.next_shown(truth, "current", &mut self.noise))
            }
        })
    }

    fn reset(&mut self, now: RunTime, world: &mut World) {
        self.switch(false, now, world);
        self.set(0.0, now, world);
    }
}

const AMPS: Header<Order> = Header {
    set: Some(|given| CURRENT.read(given).map(Order::SetCurrent)),
    ask: Some(|_| Ok(Order::AskCurrent)),
};
const OUTPUT: Header<Order> = Header {
    set: Some(|given| switch(given).map(Order::SetOutput)),
    ask: Some(|_| Ok(Order::AskOutput)),
};
const MEASURE: Header<Order> = Header {
    set: None,
    ask: Some(|_| Ok(Order::Measure)),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> = tree![
    Leaf!(b"CURRent" => &AMPS),
    Leaf!(b"OUTPut" => &OUTPUT),
    Branch![b"MEASure"; Leaf!(b"CURRent" => &MEASURE)],
];
