//! The relay box (RELAY-BOX): what stands on the pilot, and the burden on the outlet.

use super::common::tree;
use super::frame::{Model, Span};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{Amount, FARAD, Header, Intake, OHM, Unit, read_line, switch, word};
use crate::physics::{Action, PilotState, World};
use pilotage_core::RunTime;
use scpi::error::{Error, ErrorCode, Result};
use scpi::parser::parameters::Parameters;
use std::time::Duration;

/// Time from a command to the contacts' moving.
const OPERATE: Duration = Duration::from_millis(5);
/// Time in which contacts settle, during which the box is busy.
const SETTLE: Duration = Duration::from_millis(15);
/// The fine ladder, Ω; 0 takes it off.
const LADDER: Amount = Amount {
    suffixes: OHM,
    low: 0.0,
    high: 100e3,
};
/// The lowest value of the ladder, Ω.
const LADDER_LOW: f64 = 20.0;
/// Tolerance of the ladder, relative.
const LADDER_TOLERANCE: f64 = 0.05e-2;
/// Capacitances that can be put on, F.
const STEPS_F: [f64; 4] = [0.0, 0.3e-9, 1.0e-9, 2.4e-9];
const CAPACITANCE: Amount = Amount {
    suffixes: FARAD,
    low: 0.0,
    high: 2.4e-9,
};

/// What can be chosen with `ROUTe:PILot`.
const WORDS: [(&[u8], PilotState); 7] = [
    (b"A", PilotState::A),
    (b"B", PilotState::B),
    (b"C", PilotState::C),
    (b"D", PilotState::D),
    (b"E", PilotState::E),
    (b"OPEN", PilotState::Open),
    (b"CHECK", PilotState::Check),
];

/// What it can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Order {
    SetPilot(PilotState),
    AskPilot,
    SetResistance(f64),
    AskResistance,
    ShortDiode(bool),
    AskDiode,
    SetCapacitance(f64),
    AskCapacitance,
    SetBurden(bool),
    AskBurden,
}

/// The model. After power on and `*RST`: state A, diode normal, no capacitance, no burden.
pub(crate) struct RelayBox {
    noise: Noise,
    pilot: PilotState,
    resistance_ohm: f64,
    shorted: bool,
    capacitance_f: f64,
    burden: bool,
}

impl RelayBox {
    pub(crate) fn new(noise: Noise) -> Self {
        Self {
            noise,
            pilot: PilotState::A,
            resistance_ohm: 0.0,
            shorted: false,
            capacitance_f: 0.0,
            burden: false,
        }
    }

    fn set(&mut self, order: Order) -> Result<Option<Action>> {
        Ok(Some(match order {
            Order::SetPilot(state) => {
                self.pilot = state;
                // The check looks at whatever was chosen last, the ladder included.
                if state != PilotState::Check {
                    self.resistance_ohm = 0.0;
                }
                Action::PilotLoad(state)
            }
            Order::SetResistance(ohm) => self.ladder(ohm)?,
            Order::ShortDiode(shorted) => {
                self.shorted = shorted;
                Action::PilotDiode { shorted }
            }
            Order::SetCapacitance(farad) => {
                self.capacitance_f = step(farad)?;
                Action::PilotCapacitance(self.capacitance_f)
            }
            Order::SetBurden(on) => {
                self.burden = on;
                Action::Burden { on }
            }
            _ => return Ok(None),
        }))
    }

    /// The ladder takes the place of the state; 0 takes it off, which leaves state A. In the check it goes to the meter.
    fn ladder(&mut self, ohm: f64) -> Result<Action> {
        if ohm > 0.0 && ohm < LADDER_LOW {
            return Err(ErrorCode::DataOutOfRange.into());
        }
        self.resistance_ohm = ohm;
        if self.pilot != PilotState::Check {
            self.pilot = if ohm > 0.0 { PilotState::Ladder } else { PilotState::A };
        }
        Ok(Action::PilotResistance(
            ohm * (1.0 + self.noise.property("ladder") * LADDER_TOLERANCE),
        ))
    }

    fn answer(&self, order: Order) -> Answer {
        match order {
            Order::AskPilot => Answer::word(word_of(self.pilot)),
            Order::AskResistance => Answer::set_point(self.resistance_ohm),
            Order::AskDiode => Answer::word(if self.shorted { "SHOR" } else { "NORM" }),
            Order::AskCapacitance => Answer::set_point(self.capacitance_f),
            Order::AskBurden => Answer::flag(self.burden),
            _ => Answer::Nothing,
        }
    }
}

fn word_of(state: PilotState) -> &'static str {
    match state {
        PilotState::A => "A",
        PilotState::B => "B",
        PilotState::C => "C",
        PilotState::D => "D",
        PilotState::E => "E",
        PilotState::Open => "OPEN",
        PilotState::Check => "CHECK",
        PilotState::Ladder => "LADD",
    }
}

/// The capacitance that exists, within 1 % of what was asked for.
fn step(farad: f64) -> Result<f64> {
    STEPS_F
        .into_iter()
        .find(|step| (farad - step).abs() <= step * 0.01)
        .ok_or_else(|| ErrorCode::IllegalParameterValue.extended(b"0, 0.3, 1 or 2.4 nF"))
}

impl Model for RelayBox {
    type Order = Order;
    const NAME: &'static str = "RELAY-BOX";

    fn read(line: &[u8]) -> Vec<Unit<Order>> {
        read_line(&TREE, line)
    }

    fn takes(&self, order: &Order) -> Duration {
        if self.settles(order).is_zero() {
            Duration::from_millis(1)
        } else {
            OPERATE
        }
    }

    fn settles(&self, order: &Order) -> Duration {
        match order {
            Order::SetPilot(_)
            | Order::SetResistance(_)
            | Order::ShortDiode(_)
            | Order::SetCapacitance(_)
            | Order::SetBurden(_) => SETTLE,
            _ => Duration::ZERO,
        }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> std::result::Result<Answer, Error> {
        if let Some(action) = self.set(order)? {
            world.act(span.now, action);
        }
        Ok(self.answer(order))
    }

    fn reset(&mut self, now: RunTime, world: &mut World) {
        *self = Self::new(self.noise.clone());
        for action in [
            Action::PilotLoad(PilotState::A),
            Action::PilotDiode { shorted: false },
            Action::PilotCapacitance(0.0),
            Action::Burden { on: false },
        ] {
            world.act(now, action);
        }
    }
}

fn diode(parameters: &mut Parameters<'_, '_>) -> Result<Order> {
    word(parameters, &[(b"NORMal", false), (b"SHORted", true)]).map(Order::ShortDiode)
}

type H = Header<Order>;
const PILOT: H = Header {
    set: Some(|given| word(given, &WORDS).map(Order::SetPilot)),
    ask: Some(|_| Ok(Order::AskPilot)),
};
const RESISTANCE: H = Header {
    set: Some(|given| LADDER.read(given).map(Order::SetResistance)),
    ask: Some(|_| Ok(Order::AskResistance)),
};
const DIODE: H = Header {
    set: Some(diode),
    ask: Some(|_| Ok(Order::AskDiode)),
};
const CAPACITOR: H = Header {
    set: Some(|given| CAPACITANCE.read(given).map(Order::SetCapacitance)),
    ask: Some(|_| Ok(Order::AskCapacitance)),
};
const BURDEN: H = Header {
    set: Some(|given| switch(given).map(Order::SetBurden)),
    ask: Some(|_| Ok(Order::AskBurden)),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> = tree![Branch![b"ROUTe";
    Branch![b"PILot" => &PILOT;
        Leaf!(b"RESistance" => &RESISTANCE),
        Leaf!(b"DIODe" => &DIODE),
        Leaf!(b"CAPacitance" => &CAPACITOR)
    ],
    Leaf!(b"BURDen" => &BURDEN)
]];
