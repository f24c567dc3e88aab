//! The insulation instrument (INSULATION-500): a DC voltage of at most 500 V on the pair that is measured, with a discharge when
//! it goes off.

use super::accuracy::{Accuracy, OVERLOAD};
use super::common::tree;
use super::frame::{Model, Span};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{Amount, Header, Intake, Unit, VOLT, channel, read_line, switch};
use crate::physics::{Action, Core, Node, World};
use pilotage_core::RunTime;
use scpi::error::{Error, ErrorCode, Result};
use scpi::parser::parameters::Parameters;
use std::time::Duration;

/// The voltage stands for so long before it is measured (IEC 61557-2 asks for a steady reading).
const TAKES: Duration = Duration::from_secs(1);
/// The end of its range, Ω.
const RANGE: f64 = 20e9;
/// What flows into a short circuit, A.
const SHORT_A: f64 = 1e-3;
const VOLTAGE: Amount = Amount {
    suffixes: VOLT,
    low: 0.0,
    high: 500.0,
};
/// Figures as in `drivers/files/insulation_tester.yaml`.
const ACCURACY: Accuracy = Accuracy {
    of_reading: 3e-2,
    constant: 5e3,
    resolution: 100.0,
};
const PAIRS: [(Core, Core); 6] = [
    (Core::L, Core::N),
    (Core::L, Core::Pe),
    (Core::N, Core::Pe),
    (Core::L, Core::Cp),
    (Core::N, Core::Cp),
    (Core::Cp, Core::Pe),
];

/// What it can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Order {
    SetVoltage(f64),
    AskVoltage,
    SetOutput(bool),
    AskOutput,
    /// Channel, 1…6.
    Measure(u16),
}

/// The model. After power on and `*RST`: off, 0 V.
pub(crate) struct Insulation {
    noise: Noise,
    volts: f64,
}

impl Insulation {
    pub(crate) fn new(noise: Noise) -> Self {
        Self { noise, volts: 0.0 }
    }

    fn measure(&mut self, number: u16, now: RunTime, world: &mut World) -> Result<Answer> {
        if !world.words(now).supply_on {
            return Err(ErrorCode::SettingsConflict.extended(b"the output is off"));
        }
        let (first, second) = PAIRS[usize::from(number - 1)];
        world.act(now, Action::InsulationPair(first, second));
        let volts = world.mean(Node::Contacts(first, second), now, now);
        // Voltage at the pair, and current through its own resistance.
        let own_ohm = self.volts / SHORT_A;
        let amps = (self.volts - volts) / own_ohm.max(1.0);
        let ohm = if amps > 0.0 { volts / amps } else { f64::INFINITY };
        let reading = self.noise.next_reading();
        let shown = if ohm > RANGE {
            OVERLOAD
        } else {
            ACCURACY.shown(ohm, "insulation", &self.noise, reading).max(0.0)
        };
        Ok(Answer::number(shown))
    }
}

impl Model for Insulation {
    type Order = Order;
    const NAME: &'static str = "INSULATION-500";

    fn read(line: &[u8]) -> Vec<Unit<Order>> {
        read_line(&TREE, line)
    }

    fn takes(&self, order: &Order) -> Duration {
        match order {
            Order::Measure(_) => TAKES,
            Order::SetOutput(_) | Order::SetVoltage(_) => Duration::from_millis(10),
            Order::AskVoltage | Order::AskOutput => Duration::from_millis(1),
        }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> std::result::Result<Answer, Error> {
        Ok(match order {
            Order::SetVoltage(volts) => {
                self.volts = volts;
                world.act(span.now, Action::SupplyVoltage(volts));
                Answer::Nothing
            }
            Order::AskVoltage => Answer::set_point(self.volts),
            Order::SetOutput(on) => {
                world.act(span.now, Action::Supply { on });
                Answer::Nothing
            }
            Order::AskOutput => Answer::flag(world.words(span.now).supply_on),
            Order::Measure(number) => self.measure(number, span.now, world)?,
        })
    }

    fn reset(&mut self, now: RunTime, world: &mut World) {
        self.volts = 0.0;
        world.act(now, Action::Supply { on: false });
        world.act(now, Action::SupplyVoltage(0.0));
    }
}

fn measure(parameters: &mut Parameters<'_, '_>) -> Result<Order> {
    match channel(parameters)? {
        number @ 1..=6 => Ok(Order::Measure(number)),
        _ => Err(ErrorCode::DataOutOfRange.extended(b"no such channel")),
    }
}

const VOLTS: Header<Order> = Header {
    set: Some(|given| VOLTAGE.read(given).map(Order::SetVoltage)),
    ask: Some(|_| Ok(Order::AskVoltage)),
};
const OUTPUT: Header<Order> = Header {
    set: Some(|given| switch(given).map(Order::SetOutput)),
    ask: Some(|_| Ok(Order::AskOutput)),
};
const RESISTANCE: Header<Order> = Header {
    set: None,
    ask: Some(measure),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> = tree![
    Leaf!(b"VOLTage" => &VOLTS),
    Leaf!(b"OUTPut" => &OUTPUT),
    Branch![b"MEASure"; Leaf!(b"RESistance" => &RESISTANCE)],
];
