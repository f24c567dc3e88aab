//! The programmable DC supply (DC-SUPPLY) of the charger's low-voltage side, with a reading of its current.

use super::accuracy::Accuracy;
use super::common::tree;
use super::frame::{Model, Span};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{Amount, Header, Intake, Unit, VOLT, read_line, switch};
use crate::physics::{Action, Node, World};
use pilotage_core::RunTime;
use scpi::error::Error;
use std::time::Duration;

/// Time over which it measures.
const APERTURE: Duration = Duration::from_millis(50);
const VOLTAGE: Amount = Amount {
    suffixes: VOLT,
    low: 0.0,
    high: 20.0,
};
/// Figures as in `drivers/files/dc_supply.yaml`: 0.2 % of reading and 20 µA.
const CURRENT_ACCURACY: Accuracy = Accuracy {
    of_reading: 0.2e-2,
    constant: 20e-6,
    resolution: 1e-6,
};
/// How far the voltage may lie from its set point, relative.
const SET_VOLTAGE: f64 = 0.1e-2;

/// What it can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Order {
    SetVoltage(f64),
    AskVoltage,
    SetOutput(bool),
    AskOutput,
    MeasureCurrent,
}

/// The model. After power on and `*RST`: off, 0 V.
pub(crate) struct DcSupply {
    noise: Noise,
    voltage_v: f64,
    on: bool,
}

impl DcSupply {
    pub(crate) fn new(noise: Noise) -> Self {
        Self {
            noise,
            voltage_v: 0.0,
            on: false,
        }
    }

    fn set(&mut self, order: Order, now: RunTime, world: &mut World) {
        let action = match order {
            Order::SetVoltage(voltage_v) => {
                self.voltage_v = voltage_v;
                Action::LowVoltageLevel(voltage_v * (1.0 + self.noise.property("set voltage") * SET_VOLTAGE))
            }
            Order::SetOutput(on) => {
                self.on = on;
                Action::LowVoltage { on }
            }
            _ => return,
        };
        world.act(now, action);
    }
}

impl Model for DcSupply {
    type Order = Order;
    const NAME: &'static str = "DC-SUPPLY";

    fn read(line: &[u8]) -> Vec<Unit<Order>> {
        read_line(&TREE, line)
    }

    fn takes(&self, order: &Order) -> Duration {
        match order {
            Order::SetOutput(_) | Order::SetVoltage(_) => Duration::from_millis(5),
            Order::MeasureCurrent => APERTURE,
            _ => Duration::from_millis(1),
        }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> Result<Answer, Error> {
        let (from, to) = span.aperture(APERTURE);
        Ok(match order {
            Order::AskVoltage => Answer::set_point(self.voltage_v),
            Order::AskOutput => Answer::flag(self.on),
            Order::MeasureCurrent => {
                let truth = world.mean(Node::LowVoltageCurrent, from, to);
                Answer::number(CURRENT_ACCURACY.next_shown(truth, "current", &mut self.noise))
            }
            _ => {
                self.set(order, span.now, world);
                Answer::Nothing
            }
        })
    }

    fn reset(&mut self, now: RunTime, world: &mut World) {
        for order in [Order::SetOutput(false), Order::SetVoltage(0.0)] {
            self.set(order, now, world);
        }
    }
}

type H = Header<Order>;
const SET_VOLTS: H = Header {
    set: Some(|given| VOLTAGE.read(given).map(Order::SetVoltage)),
    ask: Some(|_| Ok(Order::AskVoltage)),
};
const OUTPUT: H = Header {
    set: Some(|given| switch(given).map(Order::SetOutput)),
    ask: Some(|_| Ok(Order::AskOutput)),
};
const MEASURE_CURRENT: H = Header {
    set: None,
    ask: Some(|_| Ok(Order::MeasureCurrent)),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> = tree![
    Leaf!(b"VOLTage" => &SET_VOLTS),
    Leaf!(b"OUTPut" => &OUTPUT),
    Branch![b"MEASure"; Leaf!(b"CURRent" => &MEASURE_CURRENT)],
];
