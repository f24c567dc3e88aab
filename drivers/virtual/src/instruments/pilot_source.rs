//! The pilot source (PILOT-SRC): what the bench shows to a charger as a wall unit, and the resistor that it puts from proximity to PE.

use super::common::tree;
use super::frame::{Model, Span};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{Amount, COUNT, FARAD, HERTZ, Header, Intake, OHM, Unit, VOLT, read_line, word};
use crate::physics::{Action, PilotSource, World};
use pilotage_core::RunTime;
use scpi::error::{Error, ErrorCode, Result};
use std::time::Duration;

/// Time from a command to the relays' moving, and until they have settled.
const OPERATE: Duration = Duration::from_millis(5);
const SETTLE: Duration = Duration::from_millis(10);
const DUTY: Amount = Amount {
    suffixes: COUNT,
    low: 0.0,
    high: 100.0,
};
const JITTER: Amount = Amount {
    suffixes: COUNT,
    low: 0.0,
    high: 5.0,
};
const FREQUENCY: Amount = Amount {
    suffixes: HERTZ,
    low: 500.0,
    high: 2000.0,
};
const HIGH_RAIL: Amount = Amount {
    suffixes: VOLT,
    low: 0.0,
    high: 15.0,
};
const LOW_RAIL: Amount = Amount {
    suffixes: VOLT,
    low: -15.0,
    high: 0.0,
};
const CAPACITANCE: Amount = Amount {
    suffixes: FARAD,
    low: 0.0,
    high: 3.13e-9,
};
/// Capacitances that can be put on, F; the second is the largest of wall unit and cable together.
const STEPS_F: [f64; 2] = [0.0, 3.1e-9];
const RESISTANCE: Amount = Amount {
    suffixes: OHM,
    low: 50.0,
    high: 10e3,
};
/// What a connector of SAE J1772 has from proximity to PE: latched, and with its button pressed, Ω.
const LATCHED_OHM: f64 = 150.0;
const PRESSED_OHM: f64 = 480.0;

/// How far what is given may lie from what was set. Figures as in `drivers/files/pilot_source.yaml`.
const RAIL: (f64, f64) = (0.02e-2, 1e-3);
const SET_DUTY: f64 = 0.02e-2;
const SET_FREQUENCY: f64 = 0.005e-2;
const SET_RESISTOR: f64 = 0.1e-2;
const SET_CAPACITANCE: f64 = 1e-2;

/// Words of `PILot`, and how they are answered.
const WORDS: [(&[u8], &str, PilotSource); 9] = [
    (b"OFF", "OFF", PilotSource::Off),
    (b"STEAdy", "STEA", PilotSource::Steady),
    (b"PWM", "PWM", PilotSource::Pwm),
    (b"FAULt", "FAUL", PilotSource::Fault),
    (b"SHORted", "SHOR", PilotSource::Shorted),
    (b"POSitive", "POS", PilotSource::PositiveOnly),
    (b"CHECk", "CHEC", PilotSource::Check),
    (b"CHIGh", "CHIG", PilotSource::CheckHigh),
    (b"CLOW", "CLOW", PilotSource::CheckLow),
];

/// What stands from proximity to PE.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Plugged {
    Open,
    Latched,
    Pressed,
    Resistor(f64),
}

impl Plugged {
    fn ohm(self) -> Option<f64> {
        match self {
            Self::Open => None,
            Self::Latched => Some(LATCHED_OHM),
            Self::Pressed => Some(PRESSED_OHM),
            Self::Resistor(ohm) => Some(ohm),
        }
    }
}

/// What it can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Order {
    SetPilot(PilotSource),
    AskPilot,
    SetDuty(f64),
    AskDuty,
    SetJitter(f64),
    AskJitter,
    SetFrequency(f64),
    AskFrequency,
    SetHigh(f64),
    AskHigh,
    SetLow(f64),
    AskLow,
    SetCapacitance(f64),
    AskCapacitance,
    Plug(Plugged),
    AskPlugged,
    AskResistance,
}

/// What is set. After power on and `*RST`: nothing on the pilot, nothing plugged in, 50 %, 1 kHz, ±12 V.
#[derive(Debug, Clone, Copy)]
struct Set {
    pilot: PilotSource,
    duty: f64,
    jitter: f64,
    frequency_hz: f64,
    rails_v: (f64, f64),
    capacitance_f: f64,
    plugged: Plugged,
}

const REST: Set = Set {
    pilot: PilotSource::Off,
    duty: 50.0,
    jitter: 0.0,
    frequency_hz: 1000.0,
    rails_v: (12.0, -12.0),
    capacitance_f: 0.0,
    plugged: Plugged::Open,
};

/// The model.
pub(crate) struct PilotSourceBox {
    noise: Noise,
    set: Set,
}

impl PilotSourceBox {
    pub(crate) fn new(noise: Noise) -> Self {
        Self { noise, set: REST }
    }

    /// What an order does to the world; nothing for a query.
    fn action(&mut self, order: Order) -> Result<Option<Action>> {
        let off = |name: &str, limit: f64| self.noise.property(name) * limit * 0.95;
        let set = &mut self.set;
        Ok(Some(match order {
            Order::SetPilot(pilot) => {
                set.pilot = pilot;
                Action::PilotSource(pilot)
            }
            Order::SetDuty(duty) => {
                set.duty = duty;
                // Nothing and everything are exact.
                let error = if duty > 0.0 && duty < 100.0 {
                    off("duty", SET_DUTY)
                } else {
                    0.0
                };
                Action::PilotSourceDuty(duty / 100.0 + error)
            }
            Order::SetJitter(jitter) => {
                set.jitter = jitter;
                Action::PilotSourceJitter(jitter / 100.0)
            }
            Order::SetFrequency(hertz) => {
                set.frequency_hz = hertz;
                Action::PilotSourceFrequency(hertz * (1.0 + off("frequency", SET_FREQUENCY)))
            }
            Order::SetHigh(volts) => {
                set.rails_v.0 = volts;
                Action::PilotSourceHigh(volts * (1.0 + off("high gain", RAIL.0)) + off("high", RAIL.1))
            }
            Order::SetLow(volts) => {
                set.rails_v.1 = volts;
                Action::PilotSourceLow(volts * (1.0 + off("low gain", RAIL.0)) + off("low", RAIL.1))
            }
            Order::SetCapacitance(farad) => {
                set.capacitance_f = step(farad)?;
                Action::PilotCapacitance(set.capacitance_f * (1.0 + off("capacitance", SET_CAPACITANCE)))
            }
            Order::Plug(plugged) => {
                set.plugged = plugged;
                Action::Proximity(plugged.ohm().map(|ohm| ohm * (1.0 + off("resistor", SET_RESISTOR))))
            }
            _ => return Ok(None),
        }))
    }

    fn answer(&self, order: Order) -> Answer {
        let set = &self.set;
        match order {
            Order::AskPilot => {
                let word = WORDS.iter().find(|(_, _, pilot)| *pilot == set.pilot);
                Answer::word(word.map_or("OFF", |(_, short, _)| short))
            }
            Order::AskDuty => Answer::set_point(set.duty),
            Order::AskJitter => Answer::set_point(set.jitter),
            Order::AskFrequency => Answer::set_point(set.frequency_hz),
            Order::AskHigh => Answer::set_point(set.rails_v.0),
            Order::AskLow => Answer::set_point(set.rails_v.1),
            Order::AskCapacitance => Answer::set_point(set.capacitance_f),
            Order::AskResistance => Answer::set_point(set.plugged.ohm().unwrap_or(super::accuracy::OVERLOAD)),
            Order::AskPlugged => Answer::word(match set.plugged {
                Plugged::Open => "OPEN",
                Plugged::Latched => "LATC",
                Plugged::Pressed => "PRES",
                Plugged::Resistor(_) => "RES",
            }),
            _ => Answer::Nothing,
        }
    }
}

/// The capacitance that exists, within 1 % of what was asked for.
fn step(farad: f64) -> Result<f64> {
    STEPS_F
        .into_iter()
        .find(|step| (farad - step).abs() <= step * 0.01)
        .ok_or_else(|| ErrorCode::IllegalParameterValue.extended(b"0 or 3.1 nF"))
}

impl Model for PilotSourceBox {
    type Order = Order;
    const NAME: &'static str = "PILOT-SRC";

    fn read(line: &[u8]) -> Vec<Unit<Order>> {
        read_line(&TREE, line)
    }

    fn takes(&self, order: &Order) -> Duration {
        match order {
            Order::SetPilot(_) | Order::SetCapacitance(_) | Order::Plug(_) => OPERATE,
            _ => Duration::from_millis(1),
        }
    }

    fn settles(&self, order: &Order) -> Duration {
        match order {
            Order::SetPilot(_) | Order::SetCapacitance(_) | Order::Plug(_) | Order::SetHigh(_) | Order::SetLow(_) => {
                SETTLE
            }
            _ => Duration::ZERO,
        }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> std::result::Result<Answer, Error> {
        if let Some(action) = self.action(order)? {
            world.act(span.now, action);
        }
        Ok(self.answer(order))
    }

    fn reset(&mut self, now: RunTime, world: &mut World) {
        for order in [
            Order::SetPilot(REST.pilot),
            Order::SetDuty(REST.duty),
            Order::SetJitter(REST.jitter),
            Order::SetFrequency(REST.frequency_hz),
            Order::SetHigh(REST.rails_v.0),
            Order::SetLow(REST.rails_v.1),
            Order::SetCapacitance(REST.capacitance_f),
            Order::Plug(REST.plugged),
        ] {
            if let Ok(Some(action)) = self.action(order) {
                world.act(now, action);
            }
        }
    }
}

type H = Header<Order>;
const PILOT: H = Header {
    set: Some(|given| {
        let words = WORDS.map(|(name, _, pilot)| (name, pilot));
        word(given, &words).map(Order::SetPilot)
    }),
    ask: Some(|_| Ok(Order::AskPilot)),
};
const DUTY_HEADER: H = Header {
    set: Some(|given| DUTY.read(given).map(Order::SetDuty)),
    ask: Some(|_| Ok(Order::AskDuty)),
};
const JITTER_HEADER: H = Header {
    set: Some(|given| JITTER.read(given).map(Order::SetJitter)),
    ask: Some(|_| Ok(Order::AskJitter)),
};
const FREQUENCY_HEADER: H = Header {
    set: Some(|given| FREQUENCY.read(given).map(Order::SetFrequency)),
    ask: Some(|_| Ok(Order::AskFrequency)),
};
const HIGH: H = Header {
    set: Some(|given| HIGH_RAIL.read(given).map(Order::SetHigh)),
    ask: Some(|_| Ok(Order::AskHigh)),
};
const LOW: H = Header {
    set: Some(|given| LOW_RAIL.read(given).map(Order::SetLow)),
    ask: Some(|_| Ok(Order::AskLow)),
};
const CAPACITOR: H = Header {
    set: Some(|given| CAPACITANCE.read(given).map(Order::SetCapacitance)),
    ask: Some(|_| Ok(Order::AskCapacitance)),
};
const PLUG: H = Header {
    set: Some(|given| {
        let words: [(&[u8], Plugged); 3] = [
            (b"OPEN", Plugged::Open),
            (b"LATChed", Plugged::Latched),
            (b"PRESsed", Plugged::Pressed),
        ];
        word(given, &words).map(Order::Plug)
    }),
    ask: Some(|_| Ok(Order::AskPlugged)),
};
const RESISTOR: H = Header {
    set: Some(|given| RESISTANCE.read(given).map(|ohm| Order::Plug(Plugged::Resistor(ohm)))),
    ask: Some(|_| Ok(Order::AskResistance)),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> = tree![
    Branch![b"PILot" => &PILOT;
        Leaf!(b"DUTY" => &DUTY_HEADER),
        Leaf!(b"JITTer" => &JITTER_HEADER),
        Leaf!(b"FREQuency" => &FREQUENCY_HEADER),
        Leaf!(b"HIGH" => &HIGH),
        Leaf!(b"LOW" => &LOW),
        Leaf!(b"CAPacitance" => &CAPACITOR)
    ],
    Branch![b"PROXimity" => &PLUG;
        Leaf!(b"RESistance" => &RESISTOR)
    ],
];
