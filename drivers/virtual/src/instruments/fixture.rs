//! The fixture (CONTACT-FIX): burden, what is shown to an inlet as a connector, its lock and its warming sleeve.

use super::accuracy::Accuracy;
use super::common::tree;
use super::frame::{Model, Span};
use super::noise::Noise;
use super::reply::Answer;
use super::syntax::{Amount, Header, Intake, Unit, VOLT, read_line, switch, word};
use crate::physics::{Action, Node, ProximitySet, World};
use pilotage_core::RunTime;
use scpi::error::Error;
use std::time::Duration;

const LOCK_VOLTAGE: Amount = Amount {
    suffixes: VOLT,
    low: 0.0,
    high: 16.0,
};
/// °C that the sleeve can be set to.
const SLEEVE: Amount = Amount {
    suffixes: &[("CEL", 0)],
    low: 0.0,
    high: 80.0,
};
const ZERO_CELSIUS_K: f64 = 273.15;
const APERTURE: Duration = Duration::from_millis(20);
/// Figures of the lock's current as in `drivers/files/contact_fixture.yaml`.
const ACCURACY: Accuracy = Accuracy {
    of_reading: 1e-2,
    constant: 0.02,
    resolution: 1e-3,
};
const SETS: [(&[u8], ProximitySet); 3] = [
    (b"OPEN", ProximitySet::Open),
    (b"LATChed", ProximitySet::Latched),
    (b"PRESsed", ProximitySet::Pressed),
];
const DRIVES: [(&[u8], bool); 2] = [(b"LOCK", true), (b"RELease", false)];

/// What it can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Order {
    Burden(bool),
    AskBurden,
    Proximity(ProximitySet),
    AskProximity,
    Drive(bool),
    AskDrive,
    LockVoltage(f64),
    AskLockVoltage,
    AskFeedback,
    AskPin,
    MeasureLock,
    Sleeve(bool),
    AskSleeve,
    SleeveTo(f64),
    AskSleeveTo,
}

/// The model. After power on and `*RST`: everything off and open.
pub(crate) struct Contact {
    noise: Noise,
    burden: bool,
    proximity: ProximitySet,
    locks: bool,
    lock_v: f64,
    sleeve: bool,
    sleeve_c: f64,
}

impl Contact {
    pub(crate) fn new(noise: Noise) -> Self {
        Self {
            noise,
            burden: false,
            proximity: ProximitySet::Open,
            locks: false,
            lock_v: 0.0,
            sleeve: false,
            sleeve_c: 23.0,
        }
    }

    fn set(&mut self, order: Order, now: RunTime, world: &mut World) {
        let action = match order {
            Order::Burden(on) => {
                self.burden = on;
                Action::Burden { on }
            }
            Order::Proximity(set) => {
                self.proximity = set;
                Action::ProximitySet(set)
            }
            Order::Drive(locks) => {
                self.locks = locks;
                Action::LockDrive { locks }
            }
            Order::LockVoltage(volts) => {
                self.lock_v = volts;
                Action::LockVoltage(volts)
            }
            Order::Sleeve(on) => {
                self.sleeve = on;
                self.warm()
            }
            Order::SleeveTo(celsius) => {
                self.sleeve_c = celsius;
                self.warm()
            }
            _ => return,
        };
        world.act(now, action);
    }

    fn warm(&self) -> Action {
        Action::Sleeve {
            on: self.sleeve,
            kelvin: self.sleeve_c + ZERO_CELSIUS_K,
        }
    }
}

fn position(locked: bool) -> Answer {
    Answer::word(if locked { "LOCK" } else { "REL" })
}

impl Model for Contact {
    type Order = Order;
    const NAME: &'static str = "CONTACT-FIX";

    fn read(line: &[u8]) -> Vec<Unit<Order>> {
        read_line(&TREE, line)
    }

    fn takes(&self, order: &Order) -> Duration {
        match order {
            Order::MeasureLock => APERTURE,
            Order::Burden(_) | Order::Proximity(_) => Duration::from_millis(15),
            _ => Duration::from_millis(1),
        }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> Result<Answer, Error> {
        Ok(match order {
            Order::AskBurden => Answer::flag(self.burden),
            Order::AskProximity => Answer::word(match self.proximity {
                ProximitySet::Open => "OPEN",
                ProximitySet::Latched => "LATC",
                ProximitySet::Pressed => "PRES",
            }),
            Order::AskDrive => position(self.locks),
            Order::AskLockVoltage => Answer::set_point(self.lock_v),
            Order::AskFeedback => position(world.fixture(span.now).says_locked),
            Order::AskPin => position(world.fixture(span.now).pin_locked),
            Order::MeasureLock => {
                let (from, to) = span.aperture(APERTURE);
                let truth = world.mean(Node::LockCurrent, from, to);
                Answer::number(ACCURACY.next_shown(truth, "lock", &mut self.noise))
            }
            Order::AskSleeve => Answer::flag(self.sleeve),
            Order::AskSleeveTo => Answer::set_point(self.sleeve_c),
            _ => {
                self.set(order, span.now, world);
                Answer::Nothing
            }
        })
    }

    fn reset(&mut self, now: RunTime, world: &mut World) {
        for order in [
            Order::Burden(false),
            Order::Proximity(ProximitySet::Open),
            Order::LockVoltage(0.0),
            Order::Drive(false),
            Order::Sleeve(false),
        ] {
            self.set(order, now, world);
        }
    }
}

type H = Header<Order>;
const BURDEN: H = Header {
    set: Some(|given| switch(given).map(Order::Burden)),
    ask: Some(|_| Ok(Order::AskBurden)),
};
const PROXIMITY: H = Header {
    set: Some(|given| word(given, &SETS).map(Order::Proximity)),
    ask: Some(|_| Ok(Order::AskProximity)),
};
const DRIVE: H = Header {
    set: Some(|given| word(given, &DRIVES).map(Order::Drive)),
    ask: Some(|_| Ok(Order::AskDrive)),
};
const VOLTS: H = Header {
    set: Some(|given| LOCK_VOLTAGE.read(given).map(Order::LockVoltage)),
    ask: Some(|_| Ok(Order::AskLockVoltage)),
};
const FEEDBACK: H = Header {
    set: None,
    ask: Some(|_| Ok(Order::AskFeedback)),
};
const PIN: H = Header {
    set: None,
    ask: Some(|_| Ok(Order::AskPin)),
};
const AMPS: H = Header {
    set: None,
    ask: Some(|_| Ok(Order::MeasureLock)),
};
const WARM: H = Header {
    set: Some(|given| switch(given).map(Order::Sleeve)),
    ask: Some(|_| Ok(Order::AskSleeve)),
};
const WARM_TO: H = Header {
    set: Some(|given| SLEEVE.read(given).map(Order::SleeveTo)),
    ask: Some(|_| Ok(Order::AskSleeveTo)),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> = tree![
    Branch![b"ROUTe"; Leaf!(b"BURDen" => &BURDEN), Leaf!(b"PROXimity" => &PROXIMITY)],
    Branch![b"LOCK";
        Leaf!(b"DRIVe" => &DRIVE),
        Leaf!(b"VOLTage" => &VOLTS),
        Leaf!(b"FEEDback" => &FEEDBACK),
        Leaf!(b"PIN" => &PIN),
        Leaf!(b"CURRent" => &AMPS)
    ],
    Branch![b"SLEeve"; Leaf!(b"STATe" => &WARM), Leaf!(b"TEMPerature" => &WARM_TO)],
];
