//! The insulation instrument (INSULATION-500): a DC voltage of at most 500 V on the pair that is measured, with a discharge when
//! it goes off. At inlets and cables it stands in the place of the supply; at a charger it refuses to switch on while anything is live.

use super::accuracy::{Accuracy, OVERLOAD};
use super::common::tree;
use super::frame::{Model, Span};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{Amount, Header, Intake, Unit, VOLT, channel, read_line, scanned, switch};
use crate::physics::{Action, Core, DcPair, DeadPath, Insulated, Node, Pair, World};
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
/// What a channel leads to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Leads {
    /// Two contacts of an inlet or a cable.
    Contacts(Core, Core),
    /// Two parts of a charger.
    Parts(Insulated),
}

pub(super) static CONTACTS: [Leads; 6] = [
    Leads::Contacts(Core::L, Core::N),
    Leads::Contacts(Core::L, Core::Pe),
    Leads::Contacts(Core::N, Core::Pe),
    Leads::Contacts(Core::L, Core::Cp),
    Leads::Contacts(Core::N, Core::Cp),
    Leads::Contacts(Core::Cp, Core::Pe),
];
pub(super) static CHARGER: [Leads; 4] = [
    Leads::Parts(Insulated::AcToChassis),
    Leads::Parts(Insulated::DcPlusToChassis),
    Leads::Parts(Insulated::DcMinusToChassis),
    Leads::Parts(Insulated::AcToDc),
];
/// What must not be at a charger when it is to switch on, V.
const LIVE_V: f64 = 30.0;

/// What it can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Order {
    SetVoltage(f64),
    AskVoltage,
    SetOutput(bool),
    AskOutput,
    /// Channel, from 1.
    Measure(u16),
}

/// The model. After power on and `*RST`: off, 0 V.
pub(crate) struct Insulation {
    noise: Noise,
    channels: &'static [Leads],
    volts: f64,
    /// On, at a charger; elsewhere the world knows.
    on: bool,
}

impl Insulation {
    pub(crate) fn new(noise: Noise, channels: &'static [Leads]) -> Self {
        Self {
            noise,
            channels,
            volts: 0.0,
            on: false,
        }
    }

    fn is_supply(&self) -> bool {
        matches!(self.channels[0], Leads::Contacts(..))
    }

    fn is_on(&self, now: RunTime, world: &mut World) -> bool {
        if self.is_supply() {
            world.words(now).supply_on
        } else {
            self.on
        }
    }

    fn set_voltage(&mut self, volts: f64, now: RunTime, world: &mut World) {
        self.volts = volts;
        if self.is_supply() {
            world.act(now, Action::SupplyVoltage(volts));
        }
    }

    fn switch(&mut self, on: bool, now: RunTime, world: &mut World) -> Result<()> {
        if self.is_supply() {
            world.act(now, Action::Supply { on });
            return Ok(());
        }
        let live = |node| world.rms(node, now, now).abs() > LIVE_V;
        if on && [Node::In(Pair::LN), Node::Dc(DcPair::PlusMinus)].into_iter().any(live) {
            return Err(ErrorCode::SettingsConflict.extended(b"the item is live"));
        }
        self.on = on;
        Ok(())
    }

    fn measure(&mut self, number: u16, now: RunTime, world: &mut World) -> Result<Answer> {
        if !self.is_on(now, world) {
            return Err(ErrorCode::SettingsConflict.extended(b"the output is off"));
        }
        let ohm = match scanned(self.channels, number)? {
            Leads::Contacts(first, second) => {
                world.act(now, Action::InsulationPair(first, second));
                let volts = world.mean(Node::Contacts(first, second), now, now);
                // Voltage at the pair, and current through its own resistance.
                let own_ohm = self.volts / SHORT_A;
                let amps = (self.volts - volts) / own_ohm.max(1.0);
                if amps > 0.0 { volts / amps } else { f64::INFINITY }
            }
            Leads::Parts(parts) => {
                let path = DeadPath::Isolation(parts);
                world.resistance(path, now).unwrap_or(f64::INFINITY)
            }
        };
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
                self.set_voltage(volts, span.now, world);
                Answer::Nothing
            }
            Order::AskVoltage => Answer::set_point(self.volts),
            Order::SetOutput(on) => {
                self.switch(on, span.now, world)?;
                Answer::Nothing
            }
            Order::AskOutput => Answer::flag(self.is_on(span.now, world)),
            Order::Measure(number) => self.measure(number, span.now, world)?,
        })
    }

    fn reset(&mut self, now: RunTime, world: &mut World) {
        self.on = false;
        if self.is_supply() {
            world.act(now, Action::Supply { on: false });
        }
        self.set_voltage(0.0, now, world);
    }
}

fn measure(parameters: &mut Parameters<'_, '_>) -> Result<Order> {
    channel(parameters).map(Order::Measure)
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
