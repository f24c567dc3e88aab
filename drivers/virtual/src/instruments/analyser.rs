//! The power analyser (POWER-5CH): voltage and current of the AC pins and of the DC output and an auxiliary input for the pilot, of 16
//! bit and on one time base, with its own readings of each element: 1 is the AC side, 2 the DC side.

use super::accuracy::{Accuracy, NOT_A_NUMBER};
use super::flaws::Flaws;
use super::frame::{Model, Span};
use super::front::{Front, POWER};
use super::inputs::Inputs;
use super::measuring::power;
use super::noise::Noise;
use super::recorder::{Recorder, Recording, Records, recording_tree};
use super::reply::Answer;
use super::syntax::{Amount, HERTZ, Header, Intake, Unit, channel, read_line};
use crate::physics::{DcPair, Node, Pair, World};
use pilotage_core::RunTime;
use scpi::error::{Error, ErrorCode, Result};
use scpi::parser::parameters::Parameters;
use std::time::Duration;

/// Time over which it measures: ten periods of 50 Hz, twelve of 60 Hz.
const APERTURE: Duration = Duration::from_millis(200);
/// Interval of the samples that it multiplies, s.
const POWER_INTERVAL_S: f64 = 20e-6;
/// Below this apparent power there is no power factor, VA.
const LEAST_APPARENT: f64 = 1.0;
/// Class 0.05 % of reading and 0.05 % of range, as in `drivers/files/power_analyser.yaml`.
const CLASS: f64 = 0.05e-2;
/// The power factor, which has neither reading nor range.
const FACTOR: Accuracy = Accuracy {
    of_reading: 0.0,
    constant: 0.002,
    resolution: 1e-5,
};

/// Voltage and current that belong together, with their ranges.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Element {
    /// 300 V and 50 A.
    Ac,
    /// 600 V and 30 A.
    Dc,
}

impl Element {
    fn nodes(self) -> (Node, Node) {
        match self {
            Self::Ac => (Node::In(Pair::LN), Node::InCurrent),
            Self::Dc => (Node::Dc(DcPair::PlusMinus), Node::DcCurrent),
        }
    }

    fn ranges(self) -> (f64, f64) {
        match self {
            Self::Ac => (300.0, 50.0),
            Self::Dc => (600.0, 30.0),
        }
    }

    fn name(self) -> &'static str {
        match self {
            Self::Ac => "element 1",
            Self::Dc => "element 2",
        }
    }
}

/// One of its own readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum What {
    VoltageRms,
    VoltageDc,
    CurrentRms,
    CurrentDc,
    Power,
    Factor,
}

/// What it can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Order {
    Record(Recording),
    Measure(What, Element),
}

impl From<Recording> for Order {
    fn from(order: Recording) -> Self {
        Self::Record(order)
    }
}

/// Figures as in `drivers/files/power_analyser.yaml`.
impl Records for Order {
    const RATE: Amount = Amount {
        suffixes: HERTZ,
        low: 1.0,
        high: 5e6,
    };
    const MOST_POINTS: u32 = 4_000_000;
    const CHANNELS: u16 = POWER.len() as u16;
}

/// The model.
pub(crate) struct Analyser {
    recorder: Recorder,
    noise: Noise,
    inputs: Inputs,
}

impl Analyser {
    /// The capture instrument of this bench: it has the flaws of one.
    pub(crate) fn new(noise: Noise, flaws: &Flaws, inputs: Inputs) -> Self {
        Self {
            recorder: Recorder::new(Front::new(noise.clone(), &POWER, flaws, inputs.clone())),
            noise,
            inputs,
        }
    }

    fn measure(&mut self, what: What, element: Element, span: Span, world: &mut World) -> Answer {
        let aperture = span.aperture(APERTURE);
        let (from, to) = aperture;
        let (volts, amps) = element.nodes();
        // Led to the reference, its own readings see that too; a sensor of current has no part in it.
        let (volts, of_current) = if self.inputs.on_reference() {
            (Node::Reference, 0.0)
        } else {
            (volts, 1.0)
        };
        let (range_v, range_a) = element.ranges();
        let truth = match what {
            What::VoltageRms => Some(world.rms(volts, from, to)),
            What::VoltageDc => Some(world.mean(volts, from, to)),
            What::CurrentRms => Some(of_current * world.rms(amps, from, to)),
            What::CurrentDc => Some(of_current * world.mean(amps, from, to)),
            What::Power => Some(of_current * power(world, (volts, amps), POWER_INTERVAL_S, aperture)),
            What::Factor => {
                let apparent = of_current * world.rms(volts, from, to) * world.rms(amps, from, to);
                (apparent >= LEAST_APPARENT).then(|| power(world, (volts, amps), POWER_INTERVAL_S, aperture) / apparent)
            }
        };
        let (function, accuracy) = match what {
            What::VoltageRms | What::VoltageDc => ("voltage", class(range_v, 1e-3)),
            What::CurrentRms | What::CurrentDc => ("current", class(range_a, 1e-4)),
            // Of two readings, so twice the share of the reading.
            What::Power => {
                let of_range = class(range_v * range_a, 0.01);
                let of_reading = 2.0 * of_range.of_reading;
                ("power", Accuracy { of_reading, ..of_range })
            }
            What::Factor => ("power factor", FACTOR),
        };
        let reading = self.noise.next_reading();
        let Some(truth) = truth else {
            return Answer::number(NOT_A_NUMBER);
        };
        let shown = accuracy.shown(truth, &format!("{} {function}", element.name()), &self.noise, reading);
        Answer::number(match what {
            What::VoltageRms | What::CurrentRms => shown.max(0.0),
            What::Factor => shown.clamp(-1.0, 1.0),
            _ => shown,
        })
    }
}

fn class(range: f64, resolution: f64) -> Accuracy {
    Accuracy {
        of_reading: CLASS,
        constant: CLASS * range,
        resolution,
    }
}

impl Model for Analyser {
    type Order = Order;
    const NAME: &'static str = "POWER-5CH";

    fn read(line: &[u8]) -> Vec<Unit<Order>> {
        read_line(&TREE, line)
    }

    fn takes(&self, order: &Order) -> Duration {
        match order {
            Order::Record(order) => self.recorder.takes(*order),
            Order::Measure(..) => APERTURE,
        }
    }

    fn prepare(&mut self, order: &Order, now: RunTime, world: &mut World) -> bool {
        match order {
            Order::Record(order) => self.recorder.prepare(*order, now, world),
            Order::Measure(..) => false,
        }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> std::result::Result<Answer, Error> {
        self.recorder.catch_up(span.now, world);
        match order {
            Order::Record(order) => self.recorder.execute(order, span, world),
            Order::Measure(what, element) => Ok(self.measure(what, element, span, world)),
        }
    }

    fn reset(&mut self, now: RunTime, _: &mut World) {
        self.recorder.abort(now);
    }

    fn busy_until(&self) -> RunTime {
        self.recorder.busy_until()
    }
}

fn of(parameters: &mut Parameters<'_, '_>, what: What) -> Result<Order> {
    match channel(parameters)? {
        1 => Ok(Order::Measure(what, Element::Ac)),
        2 => Ok(Order::Measure(what, Element::Dc)),
        _ => Err(ErrorCode::DataOutOfRange.extended(b"no such element")),
    }
}

type H = Header<Order>;
const VOLTAGE_RMS: H = Header {
    set: None,
    ask: Some(|given| of(given, What::VoltageRms)),
};
const VOLTAGE_DC: H = Header {
    set: None,
    ask: Some(|given| of(given, What::VoltageDc)),
};
const CURRENT_RMS: H = Header {
    set: None,
    ask: Some(|given| of(given, What::CurrentRms)),
};
const CURRENT_DC: H = Header {
    set: None,
    ask: Some(|given| of(given, What::CurrentDc)),
};
const ACTIVE: H = Header {
    set: None,
    ask: Some(|given| of(given, What::Power)),
};
const POWER_FACTOR: H = Header {
    set: None,
    ask: Some(|given| of(given, What::Factor)),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> = recording_tree![Order;
    Branch![b"MEASure";
        Branch![b"VOLTage"; Leaf!(b"RMS" => &VOLTAGE_RMS), Leaf!(b"DC" => &VOLTAGE_DC)],
        Branch![b"CURRent"; Leaf!(b"RMS" => &CURRENT_RMS), Leaf!(b"DC" => &CURRENT_DC)],
        Leaf!(b"POWer" => &ACTIVE),
        Leaf!(b"PFACtor" => &POWER_FACTOR)
    ],
];
