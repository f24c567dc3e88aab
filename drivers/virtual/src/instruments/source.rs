//! The AC source (AC-SOURCE) that supplies the item.

use super::accuracy::Accuracy;
use super::common::tree;
use super::frame::{Model, Span};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{AMPERE, Amount, HERTZ, Header, Intake, Unit, VOLT, read_line, switch};
use crate::physics::{Action, Node, Pair, World};
use pilotage_core::RunTime;
use scpi::error::Error;
use std::time::Duration;

/// Time over which it measures.
const APERTURE: Duration = Duration::from_millis(100);
const VOLTAGE: Amount = Amount {
    suffixes: VOLT,
    low: 0.0,
    high: 300.0,
};
const FREQUENCY: Amount = Amount {
    suffixes: HERTZ,
    low: 40.0,
    high: 70.0,
};
const LIMIT: Amount = Amount {
    suffixes: AMPERE,
    low: 0.1,
    high: 63.0,
};
/// Figures as in `drivers/files/ac_source.yaml`: 0.2 % of reading and 0.1 % of 300 V.
const VOLTAGE_ACCURACY: Accuracy = Accuracy {
    of_reading: 0.2e-2,
    constant: 0.3,
    resolution: 0.01,
};
/// 0.5 % of reading and 0.1 % of 63 A.
const CURRENT_ACCURACY: Accuracy = Accuracy {
    of_reading: 0.5e-2,
    constant: 0.063,
    resolution: 1e-3,
};
/// How far the voltage may lie from its set point, relative.
const SET_VOLTAGE: f64 = 0.2e-2;
/// The same for the frequency.
const SET_FREQUENCY: f64 = 0.01e-2;

/// What it can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Order {
    SetVoltage(f64),
    AskVoltage,
    SetFrequency(f64),
    AskFrequency,
    SetLimit(f64),
    AskLimit,
    SetOutput(bool),
    AskOutput,
    MeasureVoltage,
    MeasureCurrent,
}

/// The model. After power on and `*RST`: off, 0 V, 50 Hz, the highest current.
pub(crate) struct Source {
    noise: Noise,
    voltage_v: f64,
    frequency_hz: f64,
    limit_a: f64,
}

impl Source {
    pub(crate) fn new(noise: Noise) -> Self {
        Self {
            noise,
            voltage_v: 0.0,
            frequency_hz: 50.0,
            limit_a: LIMIT.high,
        }
    }

    fn set(&mut self, order: Order, now: RunTime, world: &mut World) {
        let action = match order {
            Order::SetVoltage(voltage_v) => {
                self.voltage_v = voltage_v;
                Action::SupplyVoltage(voltage_v * (1.0 + self.noise.property("set voltage") * SET_VOLTAGE))
            }
            Order::SetFrequency(frequency_hz) => {
                self.frequency_hz = frequency_hz;
                Action::SupplyFrequency(frequency_hz * (1.0 + self.noise.property("set frequency") * SET_FREQUENCY))
            }
            Order::SetLimit(limit_a) => {
                self.limit_a = limit_a;
                Action::SupplyCurrentLimit(limit_a)
            }
            Order::SetOutput(on) => Action::Supply { on },
            _ => return,
        };
        world.act(now, action);
    }

    fn shown(&mut self, accuracy: Accuracy, function: &str, truth: f64) -> Answer {
        let reading = self.noise.next_reading();
        Answer::number(accuracy.shown(truth, function, &self.noise, reading).max(0.0))
    }
}

impl Model for Source {
    type Order = Order;
    const NAME: &'static str = "AC-SOURCE";

    fn read(line: &[u8]) -> Vec<Unit<Order>> {
        read_line(&TREE, line)
    }

    fn takes(&self, order: &Order) -> Duration {
        match order {
            Order::SetOutput(_) => Duration::from_millis(10),
            Order::SetVoltage(_) | Order::SetFrequency(_) | Order::SetLimit(_) => Duration::from_millis(5),
            Order::MeasureVoltage | Order::MeasureCurrent => APERTURE,
            _ => Duration::from_millis(1),
        }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> Result<Answer, Error> {
        let (from, to) = span.aperture(APERTURE);
        Ok(match order {
            Order::AskVoltage => Answer::set_point(self.voltage_v),
            Order::AskFrequency => Answer::set_point(self.frequency_hz),
            Order::AskLimit => Answer::set_point(self.limit_a),
            // The guard switches the output off too, so the answer is what is, not what was asked for.
            Order::AskOutput => Answer::flag(world.words(span.now).supply_on),
            Order::MeasureVoltage => {
                let truth = world.rms(Node::In(Pair::LN), from, to);
                self.shown(VOLTAGE_ACCURACY, "voltage", truth)
            }
            Order::MeasureCurrent => {
                let truth = world.rms(Node::InCurrent, from, to);
                self.shown(CURRENT_ACCURACY, "current", truth)
            }
            _ => {
                self.set(order, span.now, world);
                Answer::Nothing
            }
        })
    }

    fn reset(&mut self, now: RunTime, world: &mut World) {
        for order in [
            Order::SetOutput(false),
            Order::SetVoltage(0.0),
            Order::SetFrequency(50.0),
            Order::SetLimit(LIMIT.high),
        ] {
            self.set(order, now, world);
        }
    }
}

type H = Header<Order>;
const SET_VOLTS: H = Header {
    set: Some(|given| VOLTAGE.read(given).map(Order::SetVoltage)),
    ask: Some(|_| Ok(Order::AskVoltage)),
};
const SET_HERTZ: H = Header {
    set: Some(|given| FREQUENCY.read(given).map(Order::SetFrequency)),
    ask: Some(|_| Ok(Order::AskFrequency)),
};
const SET_LIMIT: H = Header {
    set: Some(|given| LIMIT.read(given).map(Order::SetLimit)),
    ask: Some(|_| Ok(Order::AskLimit)),
};
const OUTPUT: H = Header {
    set: Some(|given| switch(given).map(Order::SetOutput)),
    ask: Some(|_| Ok(Order::AskOutput)),
};
const MEASURE_VOLTAGE: H = Header {
    set: None,
    ask: Some(|_| Ok(Order::MeasureVoltage)),
};
const MEASURE_CURRENT: H = Header {
    set: None,
    ask: Some(|_| Ok(Order::MeasureCurrent)),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> = tree![
    Leaf!(b"VOLTage" => &SET_VOLTS),
    Leaf!(b"FREQuency" => &SET_HERTZ),
    Branch![b"CURRent"; Leaf!(b"LIMit" => &SET_LIMIT)],
    Leaf!(b"OUTPut" => &OUTPUT),
    Branch![b"MEASure"; Leaf!(b"VOLTage" => &MEASURE_VOLTAGE), Leaf!(b"CURRent" => &MEASURE_CURRENT)],
];
