//! The electronic AC load (AC-LOAD): draws a current, and measures it with its own meter.

use super::accuracy::Accuracy;
use super::common::tree;
use super::flaws::Flaws;
use super::frame::{Model, Span};
use super::measuring::power;
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{AMPERE, Amount, Header, Intake, Unit, read_line, switch};
use crate::physics::{Action, Node, Pair, World};
use pilotage_core::RunTime;
use scpi::error::Error;
use std::time::Duration;

/// Time over which it measures.
const APERTURE: Duration = Duration::from_millis(100);
/// Interval of the samples that its power meter multiplies, s.
const POWER_INTERVAL_S: f64 = 100e-6;
/// What can be set, A.
const CURRENT: Amount = Amount {
    suffixes: AMPERE,
    low: 0.0,
    high: 40.0,
};
/// Figures as in `drivers/files/ac_load.yaml`: 0.2 % of reading and 0.05 % of 40 A.
const CURRENT_ACCURACY: Accuracy = Accuracy {
    of_reading: 0.2e-2,
    constant: 0.02,
    resolution: 1e-3,
};
/// 0.1 % of reading and 0.05 % of 300 V.
const VOLTAGE_ACCURACY: Accuracy = Accuracy {
    of_reading: 0.1e-2,
    constant: 0.15,
    resolution: 0.01,
};
/// 0.3 % of reading and 0.05 % of 12 kW.
const POWER_ACCURACY: Accuracy = Accuracy {
    of_reading: 0.3e-2,
    constant: 6.0,
    resolution: 0.1,
};
/// How far the current that flows may lie from the set point: relative, and in A.
const SET_ERROR: (f64, f64) = (0.2e-2, 0.02);

/// What it can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Order {
    SetCurrent(f64),
    AskCurrent,
    SetInput(bool),
    AskInput,
    MeasureCurrent,
    MeasureVoltage,
    MeasurePower,
}

/// The model.
pub(crate) struct Load {
    noise: Noise,
    /// More than this it does not draw.
    most_a: f64,
    current_a: f64,
    on: bool,
}

impl Load {
    pub(crate) fn new(noise: Noise, flaws: &Flaws) -> Self {
        Self {
            noise,
            most_a: flaws.get("load_fold"),
            current_a: 0.0,
            on: false,
        }
    }

    fn set(&mut self, current_a: f64, now: RunTime, world: &mut World) {
        self.current_a = current_a;
        let gain = 1.0 + self.noise.property("set gain") * SET_ERROR.0;
        let offset = self.noise.property("set offset") * SET_ERROR.1;
        let current_a = current_a.min(self.most_a);
        // At zero the load blocks: there is nothing to regulate.
        let flows = if current_a > 0.0 {
            (current_a * gain + offset).max(0.0)
        } else {
            0.0
        };
        world.act(now, Action::LoadCurrent(flows));
    }

    fn input(&mut self, on: bool, now: RunTime, world: &mut World) {
        self.on = on;
        world.act(now, Action::Load { on });
    }
}

impl Model for Load {
    type Order = Order;
    const NAME: &'static str = "AC-LOAD";

    fn read(line: &[u8]) -> Vec<Unit<Order>> {
        read_line(&TREE, line)
    }

    fn takes(&self, order: &Order) -> Duration {
        match order {
            Order::SetCurrent(_) | Order::SetInput(_) => Duration::from_millis(5),
            Order::AskCurrent | Order::AskInput => Duration::from_millis(1),
            _ => APERTURE,
        }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> Result<Answer, Error> {
        let (from, to) = span.aperture(APERTURE);
        Ok(match order {
            Order::SetCurrent(current_a) => {
                self.set(current_a, span.now, world);
                Answer::Nothing
            }
            Order::SetInput(on) => {
                self.input(on, span.now, world);
                Answer::Nothing
            }
            Order::AskCurrent => Answer::set_point(self.current_a),
            Order::AskInput => Answer::flag(self.on),
            Order::MeasureCurrent => {
                let truth = world.rms(Node::OutCurrent, from, to);
                Answer::number(CURRENT_ACCURACY.next_shown(truth, "current", &mut self.noise).max(0.0))
            }
            Order::MeasureVoltage => {
                let truth = world.rms(Node::Out(Pair::LN), from, to);
                Answer::number(VOLTAGE_ACCURACY.next_shown(truth, "voltage", &mut self.noise).max(0.0))
            }
            Order::MeasurePower => {
                let truth = power(
                    world,
                    (Node::Out(Pair::LN), Node::OutCurrent),
                    POWER_INTERVAL_S,
                    (from, to),
                );
                Answer::number(POWER_ACCURACY.next_shown(truth, "power", &mut self.noise).max(0.0))
            }
        })
    }

    fn reset(&mut self, now: RunTime, world: &mut World) {
        self.input(false, now, world);
        self.set(0.0, now, world);
    }
}

type H = Header<Order>;
const SET: H = Header {
    set: Some(|given| CURRENT.read(given).map(Order::SetCurrent)),
    ask: Some(|_| Ok(Order::AskCurrent)),
};
const INPUT: H = Header {
    set: Some(|given| switch(given).map(Order::SetInput)),
    ask: Some(|_| Ok(Order::AskInput)),
};
const MEASURE_CURRENT: H = Header {
    set: None,
    ask: Some(|_| Ok(Order::MeasureCurrent)),
};
const MEASURE_VOLTAGE: H = Header {
    set: None,
    ask: Some(|_| Ok(Order::MeasureVoltage)),
};
const MEASURE_POWER: H = Header {
    set: None,
    ask: Some(|_| Ok(Order::MeasurePower)),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> = tree![
    Leaf!(b"CURRent" => &SET),
    Leaf!(b"INPut" => &INPUT),
    Branch![b"MEASure";
        Leaf!(b"CURRent" => &MEASURE_CURRENT),
        Leaf!(b"VOLTage" => &MEASURE_VOLTAGE),
        Leaf!(b"POWer" => &MEASURE_POWER)
    ],
];
