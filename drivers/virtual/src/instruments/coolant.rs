//! The coolant unit (COOLANT-1): a pump, the temperature of what it sends into the charger, and the temperature of what comes back.

use super::accuracy::{Accuracy, OVERLOAD};
use super::common::tree;
use super::frame::{Model, Span};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{Amount, COUNT, Header, Intake, Unit, read_line, switch};
use super::thermometer::ZERO_CELSIUS_K;
use crate::physics::{Action, World};
use pilotage_core::RunTime;
use scpi::error::Error;
use std::time::Duration;

/// Conversion time of its thermometer.
const APERTURE: Duration = Duration::from_millis(100);
/// What can be set, °C.
const TEMPERATURE: Amount = Amount {
    suffixes: COUNT,
    low: 5.0,
    high: 75.0,
};
/// Temperature after power on and `*RST`, °C.
const AT_REST_C: f64 = 23.0;
/// How far the coolant may lie from its set point, K.
const SET_TEMPERATURE: f64 = 0.5;
/// Figures as in `drivers/files/coolant_unit.yaml`.
const ACCURACY: Accuracy = Accuracy {
    of_reading: 0.0,
    constant: 0.5,
    resolution: 0.01,
};

/// What it can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Order {
    SetPump(bool),
    AskPump,
    SetTemperature(f64),
    AskTemperature,
    Measure,
}

/// The model. After power on and `*RST`: the pump off, 23 °C.
pub(crate) struct Coolant {
    noise: Noise,
    on: bool,
    celsius: f64,
}

impl Coolant {
    pub(crate) fn new(noise: Noise) -> Self {
        Self {
            noise,
            on: false,
            celsius: AT_REST_C,
        }
    }

    fn set(&mut self, order: Order, now: RunTime, world: &mut World) {
        let action = match order {
            Order::SetPump(on) => {
                self.on = on;
                Action::Coolant { on }
            }
            Order::SetTemperature(celsius) => {
                self.celsius = celsius;
                let off_k = self.noise.property("set temperature") * SET_TEMPERATURE;
                Action::CoolantTemperature(celsius + ZERO_CELSIUS_K + off_k)
            }
            _ => return,
        };
        world.act(now, action);
    }
}

impl Model for Coolant {
    type Order = Order;
    const NAME: &'static str = "COOLANT-1";

    fn read(line: &[u8]) -> Vec<Unit<Order>> {
        read_line(&TREE, line)
    }

    fn takes(&self, order: &Order) -> Duration {
        match order {
            Order::SetPump(_) | Order::SetTemperature(_) => Duration::from_millis(5),
            Order::Measure => APERTURE,
            _ => Duration::from_millis(1),
        }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> Result<Answer, Error> {
        Ok(match order {
            Order::AskPump => Answer::flag(self.on),
            Order::AskTemperature => Answer::set_point(self.celsius),
            Order::Measure => {
                let reading = self.noise.next_reading();
                let shown = world.coolant_k(span.now).map_or(OVERLOAD, |kelvin| {
                    ACCURACY.shown(kelvin - ZERO_CELSIUS_K, "temperature", &self.noise, reading)
                });
                Answer::number(shown)
            }
            _ => {
                self.set(order, span.now, world);
                Answer::Nothing
            }
        })
    }

    fn reset(&mut self, now: RunTime, world: &mut World) {
        for order in [Order::SetPump(false), Order::SetTemperature(AT_REST_C)] {
            self.set(order, now, world);
        }
    }
}

type H = Header<Order>;
const PUMP: H = Header {
    set: Some(|given| switch(given).map(Order::SetPump)),
    ask: Some(|_| Ok(Order::AskPump)),
};
const SET_POINT: H = Header {
    set: Some(|given| TEMPERATURE.read(given).map(Order::SetTemperature)),
    ask: Some(|_| Ok(Order::AskTemperature)),
};
const OUTLET: H = Header {
    set: None,
    ask: Some(|_| Ok(Order::Measure)),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> = tree![
    Leaf!(b"PUMP" => &PUMP),
    Leaf!(b"TEMPerature" => &SET_POINT),
    Branch![b"MEASure"; Leaf!(b"TEMPerature" => &OUTLET)],
];
