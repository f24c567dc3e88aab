//! The DC sink (DC-SINK) at a charger's output: takes a current, or holds a voltage as a battery does while it takes what comes; with
//! `POLarity REVersed` it presents 10 V the wrong way round.

use super::accuracy::Accuracy;
use super::common::tree;
use super::frame::{Model, Span};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{AMPERE, Amount, Header, Intake, Unit, VOLT, read_line, switch, word};
use crate::physics::{Action, Node, World};
use pilotage_core::RunTime;
use scpi::error::Error;
use std::time::Duration;

/// Time over which it measures.
const APERTURE: Duration = Duration::from_millis(100);
const CURRENT: Amount = Amount {
    suffixes: AMPERE,
    low: 0.0,
    high: 40.0,
};
const VOLTAGE: Amount = Amount {
    suffixes: VOLT,
    low: 0.0,
    high: 600.0,
};
/// Figures as in `drivers/files/dc_sink.yaml`: 0.2 % of reading and 0.05 % of 40 A.
const CURRENT_ACCURACY: Accuracy = Accuracy {
    of_reading: 0.2e-2,
    constant: 0.02,
    resolution: 1e-3,
};
/// 0.1 % of reading and 0.05 % of 600 V.
const VOLTAGE_ACCURACY: Accuracy = Accuracy {
    of_reading: 0.1e-2,
    constant: 0.3,
    resolution: 0.01,
};
/// How far what it takes or holds may lie from its set point: relative, and in A or V.
const SET_CURRENT: (f64, f64) = (0.2e-2, 0.02);
const SET_VOLTAGE: (f64, f64) = (0.1e-2, 0.2);

/// What it can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Order {
    SetCurrent(f64),
    AskCurrent,
    SetVoltage(f64),
    AskVoltage,
    SetInput(bool),
    AskInput,
    Reverse(bool),
    AskPolarity,
    MeasureCurrent,
    MeasureVoltage,
}

/// The model. After power on and `*RST`: off, 0 A, 0 V, the right way round.
pub(crate) struct Sink {
    noise: Noise,
    current_a: f64,
    voltage_v: f64,
    reversed: bool,
}

impl Sink {
    pub(crate) fn new(noise: Noise) -> Self {
        Self {
            noise,
            current_a: 0.0,
            voltage_v: 0.0,
            reversed: false,
        }
    }

    /// What a set point really becomes. Zero is exact: there is nothing to regulate.
    fn becomes(&self, set: f64, name: &str, (relative, constant): (f64, f64)) -> f64 {
        if set <= 0.0 {
            return 0.0;
        }
        let gain = 1.0 + self.noise.property(&format!("set {name} gain")) * relative;
        let offset = self.noise.property(&format!("set {name} offset")) * constant;
        (set * gain + offset).max(0.0)
    }

    fn set(&mut self, order: Order, now: RunTime, world: &mut World) {
        let action = match order {
            Order::SetCurrent(current_a) => {
                self.current_a = current_a;
                Action::LoadCurrent(self.becomes(current_a, "current", SET_CURRENT))
            }
            Order::SetVoltage(voltage_v) => {
                self.voltage_v = voltage_v;
                Action::SinkVoltage(self.becomes(voltage_v, "voltage", SET_VOLTAGE))
            }
            Order::SetInput(on) => Action::Load { on },
            Order::Reverse(on) => {
                self.reversed = on;
                Action::SinkReversed { on }
            }
            _ => return,
        };
        world.act(now, action);
    }
}

impl Model for Sink {
    type Order = Order;
    const NAME: &'static str = "DC-SINK";

    fn read(line: &[u8]) -> Vec<Unit<Order>> {
        read_line(&TREE, line)
    }

    fn takes(&self, order: &Order) -> Duration {
        match order {
            Order::SetCurrent(_) | Order::SetVoltage(_) | Order::SetInput(_) | Order::Reverse(_) => {
                Duration::from_millis(5)
            }
            Order::MeasureCurrent | Order::MeasureVoltage => APERTURE,
            _ => Duration::from_millis(1),
        }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> Result<Answer, Error> {
        let (from, to) = span.aperture(APERTURE);
        Ok(match order {
            Order::AskCurrent => Answer::set_point(self.current_a),
            Order::AskVoltage => Answer::set_point(self.voltage_v),
            // Its contactor switches it off when it opens.
            Order::AskInput => Answer::flag(world.words(span.now).load_on),
            Order::AskPolarity => Answer::word(if self.reversed { "REV" } else { "NORM" }),
            Order::MeasureCurrent => {
                let truth = world.mean(Node::DcCurrent, from, to);
                Answer::number(CURRENT_ACCURACY.next_shown(truth, "current", &mut self.noise))
            }
            Order::MeasureVoltage => {
                let truth = world.mean(Node::AtSink, from, to);
                Answer::number(VOLTAGE_ACCURACY.next_shown(truth, "voltage", &mut self.noise))
            }
            _ => {
                self.set(order, span.now, world);
                Answer::Nothing
            }
        })
    }

    fn reset(&mut self, now: RunTime, world: &mut World) {
        for order in [
            Order::SetInput(false),
            Order::SetCurrent(0.0),
            Order::SetVoltage(0.0),
            Order::Reverse(false),
        ] {
            self.set(order, now, world);
        }
    }
}

type H = Header<Order>;
const SET_AMPERES: H = Header {
    set: Some(|given| CURRENT.read(given).map(Order::SetCurrent)),
    ask: Some(|_| Ok(Order::AskCurrent)),
};
const SET_VOLTS: H = Header {
    set: Some(|given| VOLTAGE.read(given).map(Order::SetVoltage)),
    ask: Some(|_| Ok(Order::AskVoltage)),
};
const INPUT: H = Header {
    set: Some(|given| switch(given).map(Order::SetInput)),
    ask: Some(|_| Ok(Order::AskInput)),
};
const POLARITY: H = Header {
    set: Some(|given| word(given, &[(b"NORMal", false), (b"REVersed", true)]).map(Order::Reverse)),
    ask: Some(|_| Ok(Order::AskPolarity)),
};
const MEASURE_CURRENT: H = Header {
    set: None,
    ask: Some(|_| Ok(Order::MeasureCurrent)),
};
const MEASURE_VOLTAGE: H = Header {
    set: None,
    ask: Some(|_| Ok(Order::MeasureVoltage)),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> = tree![
    Leaf!(b"CURRent" => &SET_AMPERES),
    Leaf!(b"VOLTage" => &SET_VOLTS),
    Leaf!(b"INPut" => &INPUT),
    Leaf!(b"POLarity" => &POLARITY),
    Branch![b"MEASure"; Leaf!(b"CURRent" => &MEASURE_CURRENT), Leaf!(b"VOLTage" => &MEASURE_VOLTAGE)],
];
