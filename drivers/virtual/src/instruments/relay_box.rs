//! The relay box (RELAY-BOX): what stands on the pilot and from which angle of the mains, the burden on the outlet, and
//! what the inputs of the capture instrument are led to.

use super::common::tree;
use super::frame::{Model, Span};
use super::inputs::Inputs;
use super::noise::Noise;
use super::relays::{self, SETTLE};
use super::reply::Answer;
use super::syntax::{Amount, DEGREE, FARAD, Header, Intake, OHM, Unit, read_line, switch, word};
use crate::physics::{Action, PilotState, World};
use pilotage_core::RunTime;
use scpi::error::{Error, ErrorCode, Result};
use scpi::parser::parameters::Parameters;
use std::time::Duration;

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

/// Angle of the mains, degrees, at which the next change of the pilot load takes effect.
const ANGLE: Amount = Amount {
    suffixes: DEGREE,
    low: 0.0,
    high: 360.0,
};
/// How well the contacts meet it, degrees: their operating time is known and subtracted.
const ANGLE_JITTER: f64 = 2.0;
/// Longest wait for an angle: one period of 40 Hz.
const LONGEST_PERIOD: Duration = Duration::from_millis(25);

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
    SetAngle(f64),
    AskAngle,
    SetBurden(bool),
    AskBurden,
    LeadInputs(bool),
    AskInputs,
}

/// The model. After power on and `*RST`: state A, diode normal, no capacitance, no burden.
pub(crate) struct RelayBox {
    noise: Noise,
    pilot: PilotState,
    resistance_ohm: f64,
    shorted: bool,
    capacitance_f: f64,
    burden: bool,
    /// The angle that the next change waits for.
    angle_deg: Option<f64>,
    inputs: Inputs,
}

impl RelayBox {
    pub(crate) fn new(noise: Noise, inputs: Inputs) -> Self {
        Self {
            noise,
            inputs,
            angle_deg: None,
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
            Order::SetAngle(degrees) => {
                self.angle_deg = Some(degrees);
                return Ok(None);
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

    /// The angle is good for one change; without mains there is nothing to wait for, and the change comes at once.
    fn at_angle(&mut self, action: Action, degrees: f64, now: RunTime, world: &mut World) {
        let met = degrees + self.noise.next_reading().triangular(0) * ANGLE_JITTER;
        world.pilot_load_at_angle(now, action, met.to_radians());
    }

    fn answer(&self, order: Order) -> Answer {
        match order {
            Order::AskPilot => Answer::word(word_of(self.pilot)),
            Order::AskResistance => Answer::set_point(self.resistance_ohm),
            Order::AskDiode => Answer::word(if self.shorted { "SHOR" } else { "NORM" }),
            Order::AskCapacitance => Answer::set_point(self.capacitance_f),
            Order::AskAngle => Answer::set_point(self.angle_deg.unwrap_or(0.0)),
            Order::AskBurden => Answer::flag(self.burden),
            Order::AskInputs => Answer::word(self.inputs.word()),
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
        relays::takes(self.settles(order))
    }

    fn settles(&self, order: &Order) -> Duration {
        match order {
            Order::SetPilot(_) | Order::SetResistance(_) if self.angle_deg.is_some() => LONGEST_PERIOD + SETTLE,
            Order::LeadInputs(_)
            | Order::SetPilot(_)
            | Order::SetResistance(_)
            | Order::ShortDiode(_)
            | Order::SetCapacitance(_)
            | Order::SetBurden(_) => SETTLE,
            _ => Duration::ZERO,
        }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> std::result::Result<Answer, Error> {
        if let Order::LeadInputs(to_reference) = order {
            self.inputs.lead(to_reference, span.now);
        }
        // An order that is refused leaves the angle armed: nothing has changed on the pilot.
        let action = self.set(order)?;
        let changes_load = matches!(order, Order::SetPilot(_) | Order::SetResistance(_));
        let armed = if changes_load { self.angle_deg.take() } else { None };
        match (action, armed) {
            (Some(action), Some(degrees)) => self.at_angle(action, degrees, span.now, world),
            (Some(action), None) => world.act(span.now, action),
            (None, _) => {}
        }
        Ok(self.answer(order))
    }

    fn reset(&mut self, now: RunTime, world: &mut World) {
        self.inputs.lead(false, now);
        *self = Self::new(self.noise.clone(), self.inputs.clone());
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
const PHASE: H = Header {
    set: Some(|given| ANGLE.read(given).map(Order::SetAngle)),
    ask: Some(|_| Ok(Order::AskAngle)),
};
const INPUTS: H = Header {
    set: Some(|given| Inputs::read(given).map(Order::LeadInputs)),
    ask: Some(|_| Ok(Order::AskInputs)),
};
const BURDEN: H = Header {
    set: Some(|given| switch(given).map(Order::SetBurden)),
    ask: Some(|_| Ok(Order::AskBurden)),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> = tree![Branch![b"ROUTe";
    Branch![b"PILot" => &PILOT;
        Leaf!(b"RESistance" => &RESISTANCE),
        Leaf!(b"DIODe" => &DIODE),
        Leaf!(b"CAPacitance" => &CAPACITOR),
        Leaf!(b"ANGLe" => &PHASE)
    ],
    Leaf!(b"CAPTure" => &INPUTS),
    Leaf!(b"BURDen" => &BURDEN)
]];
