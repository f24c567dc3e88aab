//! The AC source (AC-SOURCE) that supplies the item, with the angle at which it switches on and dips of its voltage.

use super::accuracy::Accuracy;
use super::common::tree;
use super::frame::{Model, Span};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{
    AMPERE, Amount, COUNT, DEGREE, HERTZ, Header, Intake, SECOND, Unit, VOLT, read_line, switch, word,
};
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
/// Angle of the voltage, degrees after its rise through zero.
const ANGLE: Amount = Amount {
    suffixes: DEGREE,
    low: 0.0,
    high: 360.0,
};
/// Longest wait for an angle: one period of 40 Hz.
const LONGEST_PERIOD: Duration = Duration::from_millis(25);
/// What is left of the voltage in a dip, percent, and how long it lasts, s.
const DIP_LEVEL: Amount = Amount {
    suffixes: COUNT,
    low: 0.0,
    high: 100.0,
};
const DIP_TIME: Amount = Amount {
    suffixes: SECOND,
    low: 1e-3,
    high: 60.0,
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
    SetAngle(f64),
    AskAngle,
    SetDipLevel(f64),
    AskDipLevel,
    SetDipTime(f64),
    AskDipTime,
    SetDipAngle(f64),
    AskDipAngle,
    /// One dip, or ready for the next.
    Dip(bool),
    AskDip,
    MeasureVoltage,
    MeasureCurrent,
}

/// The next dip.
#[derive(Debug, Clone, Copy)]
struct NextDip {
    level_percent: f64,
    for_s: f64,
    angle_deg: f64,
    /// One was asked for, and nobody made ready for another since.
    asked: bool,
}

/// To the whole voltage, for one period of 50 Hz, from its rise through zero on.
const NO_DIP: NextDip = NextDip {
    level_percent: 100.0,
    for_s: 0.02,
    angle_deg: 0.0,
    asked: false,
};

/// The model. After power on and `*RST`: off, 0 V, 50 Hz, the highest current; it switches on at any angle.
pub(crate) struct Source {
    noise: Noise,
    voltage_v: f64,
    frequency_hz: f64,
    limit_a: f64,
    /// Angle at which it next switches on; good for once.
    angle_deg: Option<f64>,
    dip: NextDip,
}

impl Source {
    pub(crate) fn new(noise: Noise) -> Self {
        Self {
            noise,
            voltage_v: 0.0,
            frequency_hz: 50.0,
            limit_a: LIMIT.high,
            angle_deg: None,
            dip: NO_DIP,
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
            Order::SetOutput(on) => {
                if on && let Some(degrees) = self.angle_deg.take() {
                    world.act(now, Action::SupplyAngle(degrees.to_radians()));
                }
                Action::Supply { on }
            }
            Order::Dip(true) => {
                self.dip.asked = true;
                Action::SupplyDip {
                    ratio: self.dip.level_percent / 100.0,
                    for_s: self.dip.for_s,
                    angle_rad: self.dip.angle_deg.to_radians(),
                }
            }
            _ => return self.note(order),
        };
        world.act(now, action);
    }

    /// Settings that change nothing yet.
    fn note(&mut self, order: Order) {
        match order {
            Order::SetAngle(degrees) => self.angle_deg = Some(degrees),
            Order::SetDipLevel(percent) => self.dip.level_percent = percent,
            Order::SetDipTime(for_s) => self.dip.for_s = for_s,
            Order::SetDipAngle(degrees) => self.dip.angle_deg = degrees,
            Order::Dip(asked) => self.dip.asked = asked,
            _ => {}
        }
    }

    /// What is set.
    fn set_point(&self, order: Order) -> f64 {
        match order {
            Order::AskVoltage => self.voltage_v,
            Order::AskFrequency => self.frequency_hz,
            Order::AskLimit => self.limit_a,
            Order::AskAngle => self.angle_deg.unwrap_or(0.0),
            Order::AskDipLevel => self.dip.level_percent,
            Order::AskDipTime => self.dip.for_s,
            _ => self.dip.angle_deg,
        }
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
            Order::SetVoltage(_) | Order::SetFrequency(_) | Order::SetLimit(_) | Order::Dip(_) => {
                Duration::from_millis(5)
            }
            Order::MeasureVoltage | Order::MeasureCurrent => APERTURE,
            _ => Duration::from_millis(1),
        }
    }

    fn settles(&self, order: &Order) -> Duration {
        match order {
            Order::SetOutput(true) if self.angle_deg.is_some() => LONGEST_PERIOD,
            _ => Duration::ZERO,
        }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> Result<Answer, Error> {
        let (from, to) = span.aperture(APERTURE);
        Ok(match order {
            Order::AskVoltage
            | Order::AskFrequency
            | Order::AskLimit
            | Order::AskAngle
            | Order::AskDipLevel
            | Order::AskDipTime
            | Order::AskDipAngle => Answer::set_point(self.set_point(order)),
            Order::AskDip => Answer::word(if self.dip.asked { "ONCE" } else { "READ" }),
            // The guard switches the output off too, so the answer is what is, not what was asked for.
            Order::AskOutput => Answer::flag(world.words(span.now).supply_on),
            Order::MeasureVoltage => {
                let truth = world.rms(Node::In(Pair::LN), from, to);
                Answer::number(VOLTAGE_ACCURACY.next_shown(truth, "voltage", &mut self.noise).max(0.0))
            }
            Order::MeasureCurrent => {
                let truth = world.rms(Node::InCurrent, from, to);
                Answer::number(CURRENT_ACCURACY.next_shown(truth, "current", &mut self.noise).max(0.0))
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
        (self.angle_deg, self.dip) = (None, NO_DIP);
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
const ON_ANGLE: H = Header {
    set: Some(|given| ANGLE.read(given).map(Order::SetAngle)),
    ask: Some(|_| Ok(Order::AskAngle)),
};
const DIP: H = Header {
    set: Some(|given| word(given, &[(b"ONCE", true), (b"READy", false)]).map(Order::Dip)),
    ask: Some(|_| Ok(Order::AskDip)),
};
const LEVEL: H = Header {
    set: Some(|given| DIP_LEVEL.read(given).map(Order::SetDipLevel)),
    ask: Some(|_| Ok(Order::AskDipLevel)),
};
const TIME: H = Header {
    set: Some(|given| DIP_TIME.read(given).map(Order::SetDipTime)),
    ask: Some(|_| Ok(Order::AskDipTime)),
};
const AT: H = Header {
    set: Some(|given| ANGLE.read(given).map(Order::SetDipAngle)),
    ask: Some(|_| Ok(Order::AskDipAngle)),
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
    Branch![b"OUTPut" => &OUTPUT; Leaf!(b"ANGLe" => &ON_ANGLE)],
    Branch![b"DIP" => &DIP; Leaf!(b"LEVel" => &LEVEL), Leaf!(b"TIME" => &TIME), Leaf!(b"ANGLe" => &AT)],
    Branch![b"MEASure"; Leaf!(b"VOLTage" => &MEASURE_VOLTAGE), Leaf!(b"CURRent" => &MEASURE_CURRENT)],
];
