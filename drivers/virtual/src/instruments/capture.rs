//! The capture instrument (WAVE-4CH): four channels of 12 bit that record in the background, and quick measurements of the pilot.

use super::accuracy::NOT_A_NUMBER;
use super::flaws::Flaws;
use super::frame::{Model, Span};
use super::front::{Channel, Front, Run};
use super::inputs::Inputs;
use super::noise::Noise;
use super::quick::{self, Quick};
use super::recorder::{Recorder, Recording, Records, recording_tree};
use super::reply::Answer;
use super::syntax::{Amount, HERTZ, Header, Intake, Unit, channel, read_line};
use crate::physics::World;
use pilotage_core::RunTime;
use scpi::error::{Error, ErrorCode, Result};
use scpi::parser::parameters::Parameters;
use std::time::Duration;

/// Length of the record of a quick measurement.
const QUICK_RECORD: Duration = Duration::from_millis(10);
/// Interval of its samples, s.
const QUICK_INTERVAL_S: f64 = 1e-6;

/// What the instrument can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Order {
    Record(Recording),
    AskQuick(Quick),
}

impl From<Recording> for Order {
    fn from(order: Recording) -> Self {
        Self::Record(order)
    }
}

/// Figures as in `drivers/files/wave_capture.yaml`.
impl Records for Order {
    const RATE: Amount = Amount {
        suffixes: HERTZ,
        low: 1.0,
        high: 20e6,
    };
    const MOST_POINTS: u32 = 4_000_000;
    const CHANNELS: u16 = 4;
}

/// The model.
pub(crate) struct Capture {
    recorder: Recorder,
}

impl Capture {
    pub(crate) fn new(noise: Noise, channels: &'static [Channel; 4], flaws: &Flaws, inputs: Inputs) -> Self {
        Self {
            recorder: Recorder::new(Front::new(noise, channels, flaws, inputs)),
        }
    }

    fn quick(&mut self, what: Quick, span: Span, world: &mut World) -> Answer {
        let front = &mut self.recorder.front;
        let (start, to) = span.aperture(QUICK_RECORD);
        let interval_s = QUICK_INTERVAL_S * (1.0 + front.time_error());
        let count = libm::floor(to.since(start).as_secs_f64() / interval_s) as usize;
        let run = Run {
            start,
            interval_s,
            readings: front.begin(),
        };
        let codes = front.codes(0, &run, (0, count), world);
        let record: Vec<f64> = codes.into_iter().map(|code| f64::from(code) * front.step(0)).collect();
        // The instrument believes its own time base.
        Answer::number(quick::measure(what, &record, QUICK_INTERVAL_S).unwrap_or(NOT_A_NUMBER))
    }
}

impl Model for Capture {
    type Order = Order;
    const NAME: &'static str = "WAVE-4CH";

    fn read(line: &[u8]) -> Vec<Unit<Order>> {
        read_line(&TREE, line)
    }

    fn takes(&self, order: &Order) -> Duration {
        match order {
            Order::AskQuick(_) => QUICK_RECORD + Duration::from_millis(2),
            Order::Record(order) => self.recorder.takes(*order),
        }
    }

    fn prepare(&mut self, order: &Order, now: RunTime, world: &mut World) -> bool {
        match order {
            Order::Record(order) => self.recorder.prepare(*order, now, world),
            Order::AskQuick(_) => false,
        }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> std::result::Result<Answer, Error> {
        self.recorder.catch_up(span.now, world);
        match order {
            Order::Record(order) => self.recorder.execute(order, span, world),
            Order::AskQuick(what) => Ok(self.quick(what, span, world)),
        }
    }

    fn reset(&mut self, now: RunTime, _: &mut World) {
        self.recorder.abort(now);
    }

    fn busy_until(&self) -> RunTime {
        self.recorder.busy_until()
    }
}

/// The quick measurements serve the pilot's channel.
fn quick_of(parameters: &mut Parameters<'_, '_>, what: Quick) -> Result<Order> {
    match channel(parameters)? {
        1 => Ok(Order::AskQuick(what)),
        2..=4 => Err(ErrorCode::SettingsConflict.extended(b"quick measurements serve channel 1")),
        _ => Err(ErrorCode::DataOutOfRange.extended(b"no such channel")),
    }
}

type H = Header<Order>;
const HIGH: H = Header {
    set: None,
    ask: Some(|given| quick_of(given, Quick::High)),
};
const LOW: H = Header {
    set: None,
    ask: Some(|given| quick_of(given, Quick::Low)),
};
const FREQUENCY: H = Header {
    set: None,
    ask: Some(|given| quick_of(given, Quick::Frequency)),
};
const DUTY: H = Header {
    set: None,
    ask: Some(|given| quick_of(given, Quick::Duty)),
};

const TREE: scpi::tree::Node<'static, Intake<Order>> = recording_tree![Order;
    Branch![b"MEASure";
        Leaf!(b"HIGH" => &HIGH),
        Leaf!(b"LOW" => &LOW),
        Leaf!(b"FREQuency" => &FREQUENCY),
        Leaf!(b"PDUTycycle" => &DUTY)
    ],
];
