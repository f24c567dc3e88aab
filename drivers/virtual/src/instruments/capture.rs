//! The capture instrument (WAVE-4CH): four channels of 12 bit that record in the background.

use super::accuracy::NOT_A_NUMBER;
use super::common::tree;
use super::frame::{Model, Span};
use super::noise::{Noise, Reading};
use super::quick::{self, Quick};
use super::reply::{Answer, nr3};
use super::syntax::{Amount, HERTZ, Header, Intake, Unit, channel, read_line, whole};
use crate::physics::{Node, Pair, World};
use pilotage_core::RunTime;
use scpi::error::{Error, ErrorCode, Result};
use scpi::parser::parameters::Parameters;
use std::time::Duration;

/// Most points of a channel.
const MOST_POINTS: u32 = 4_000_000;
/// Sample rate, Hz.
const RATE: Amount = Amount {
    suffixes: HERTZ,
    low: 1.0,
    high: 20e6,
};
/// Limit of error of the time base, relative; as in `drivers/files/wave_capture.yaml`.
const TIME_BASE: f64 = 5e-6;
/// Limit of delay between two channels, s. Below one interval at the highest rate.
const SKEW_S: f64 = 20e-9;
/// Length of the record of a quick measurement.
const QUICK_RECORD: Duration = Duration::from_millis(10);
/// Interval of its samples, s.
const QUICK_INTERVAL_S: f64 = 1e-6;
/// Samples that are computed at once.
const CHUNK: usize = 65_536;
/// Bit of the operation register while acquiring.
const ACQUIRING: u16 = 256;
/// Record length that is taken from the world as it goes, so that a long capture outlives the world's memory of 60 s.
const CATCH_UP: Duration = Duration::from_secs(20);

/// One channel's converter. Figures as in `drivers/files/wave_capture.yaml`.
struct Channel {
    node: Node,
    /// Full scale, one way.
    full: f64,
    /// Limit of the gain error, relative.
    gain: f64,
    /// Limit of the offset error, quantisation and noise included.
    offset: f64,
    name: &'static str,
}

const CHANNELS: [Channel; 4] = [
    Channel {
        node: Node::Pilot,
        full: 16.0,
        gain: 0.5e-2,
        offset: 0.02,
        name: "1",
    },
    Channel {
        node: Node::Out(Pair::LN),
        full: 500.0,
        gain: 1e-2,
        offset: 1.0,
        name: "2",
    },
    Channel {
        node: Node::Out(Pair::NPe),
        full: 500.0,
        gain: 1e-2,
        offset: 1.0,
        name: "3",
    },
    Channel {
        node: Node::OutCurrent,
        full: 100.0,
        gain: 1e-2,
        offset: 0.2,
        name: "4",
    },
];

impl Channel {
    /// One step of the converter.
    fn step(&self) -> f64 {
        self.full / 2048.0
    }

    fn gain_error(&self, noise: &Noise) -> f64 {
        noise.property(&format!("{} gain", self.name)) * self.gain * 0.95
    }

    /// Half a step is left for the rounding, a tenth of the limit for the noise.
    fn offset_error(&self, noise: &Noise) -> f64 {
        noise.property(&format!("{} offset", self.name)) * (self.offset * 0.9 - self.step() / 2.0)
    }

    /// Codes of true values; `first` is the number of the first sample within its record.
    fn convert(&self, truth: &[f64], noise: &Noise, reading: Reading, first: u64) -> Vec<i16> {
        let gain = 1.0 + self.gain_error(noise);
        let offset = self.offset_error(noise);
        let wander = self.offset * 0.1;
        truth
            .iter()
            .zip(first..)
            .map(|(value, number)| {
                let seen = value * gain + offset + reading.triangular(number) * wander;
                libm::round(seen / self.step()).clamp(-2048.0, 2047.0) as i16
            })
            .collect()
    }
}

/// Number of a channel, 0…3.
type Index = usize;

/// What the instrument can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Order {
    SetRate(f64),
    AskRate,
    SetPoints(u32),
    AskPoints,
    Initiate,
    Abort,
    AskCondition,
    AskScaling(Index),
    AskData(Index),
    AskTime,
    AskQuick(Quick),
}

/// One record.
struct Record {
    start: RunTime,
    /// True interval, with the error of the time base.
    interval_s: f64,
    points: usize,
    readings: [Reading; 4],
    codes: [Vec<i16>; 4],
    aborted: bool,
}

impl Record {
    fn end(&self) -> RunTime {
        self.start
            .plus(Duration::from_secs_f64(self.interval_s * self.points as f64))
    }

    /// Takes the samples of a channel that lie before `now`.
    fn take(&mut self, index: Index, noise: &Noise, now: RunTime, world: &mut World) {
        let channel = &CHANNELS[index];
        let passed = (now.since(self.start).as_secs_f64() / self.interval_s) as usize + usize::from(now >= self.start);
        let upto = if now >= self.end() {
            self.points
        } else {
            passed.min(self.points)
        };
        let skew = Duration::from_secs_f64((noise.property(&format!("{} skew", channel.name)) + 1.0) * SKEW_S / 2.0);
        let mut truth = Vec::with_capacity(CHUNK);
        while self.codes[index].len() < upto {
            let first = self.codes[index].len();
            let since = Duration::from_secs_f64(first as f64 * self.interval_s);
            let from = super::frame::before(self.start.plus(since), skew);
            truth.clear();
            world.samples(
                channel.node,
                from,
                self.interval_s,
                (upto - first).min(CHUNK),
                &mut truth,
            );
            let codes = channel.convert(&truth, noise, self.readings[index], first as u64);
            self.codes[index].extend(codes);
        }
    }

    /// Length that has passed and is not taken yet.
    fn untaken(&self, now: RunTime) -> Duration {
        let shortest = self.codes.iter().map(Vec::len).min().unwrap_or(0);
        let taken = Duration::from_secs_f64(shortest as f64 * self.interval_s);
        now.min(self.end()).since(self.start).saturating_sub(taken)
    }
}

/// The model.
pub(crate) struct Capture {
    noise: Noise,
    rate_hz: f64,
    points: u32,
    record: Option<Record>,
}

impl Capture {
    pub(crate) fn new(noise: Noise) -> Self {
        Self {
            noise,
            rate_hz: 1e6,
            points: 1000,
            record: None,
        }
    }

    fn time_error(&self) -> f64 {
        self.noise.property("time base") * TIME_BASE * 0.95
    }

    fn initiate(&mut self, now: RunTime) -> Result<Answer> {
        if now < self.busy_until() {
            return Err(ErrorCode::InitIgnored.into());
        }
        let readings = std::array::from_fn(|_| self.noise.next_reading());
        self.record = Some(Record {
            start: now,
            interval_s: (1.0 + self.time_error()) / self.rate_hz,
            points: self.points as usize,
            readings,
            codes: Default::default(),
            aborted: false,
        });
        Ok(Answer::Nothing)
    }

    fn condition(&mut self, now: RunTime) -> Answer {
        let bits = if now < self.busy_until() { ACQUIRING } else { 0 };
        Answer::Text(bits.to_string())
    }

    /// A whole record; half of one is never given away.
    fn data(&mut self, index: Index, now: RunTime, world: &mut World) -> Result<Answer> {
        let missing = ErrorCode::DataCorruptOrStale;
        let record = self.record.as_mut().ok_or(missing.extended(b"nothing was recorded"))?;
        if record.aborted {
            return Err(missing.extended(b"the record was aborted"));
        }
        if now < record.end() {
            return Err(missing.extended(b"the record is not complete"));
        }
        record.take(index, &self.noise, now, world);
        Ok(Answer::Block(
            record.codes[index].iter().flat_map(|code| code.to_le_bytes()).collect(),
        ))
    }

    fn time(&self) -> Result<Answer> {
        let record = self.record.as_ref().ok_or(ErrorCode::DataCorruptOrStale)?;
        Ok(Answer::Text(nr3(
            record.start.seconds() * (1.0 - self.time_error()),
            12,
        )))
    }

    fn quick(&mut self, what: Quick, span: Span, world: &mut World) -> Answer {
        let channel = &CHANNELS[0];
        let (from, to) = span.aperture(QUICK_RECORD);
        let interval_s = QUICK_INTERVAL_S * (1.0 + self.time_error());
        let count = libm::floor(to.since(from).as_secs_f64() / interval_s) as usize;
        let mut truth = Vec::with_capacity(count);
        world.samples(channel.node, from, interval_s, count, &mut truth);
        let reading = self.noise.next_reading();
        let record: Vec<f64> = channel
            .convert(&truth, &self.noise, reading, 0)
            .into_iter()
            .map(|code| f64::from(code) * channel.step())
            .collect();
        // The instrument believes its own time base.
        Answer::number(quick::measure(what, &record, QUICK_INTERVAL_S).unwrap_or(NOT_A_NUMBER))
    }

    /// Takes from the world what it might forget.
    fn catch_up(&mut self, now: RunTime, world: &mut World) {
        if let Some(record) = self
            .record
            .as_mut()
            .filter(|record| !record.aborted && record.untaken(now) > CATCH_UP)
        {
            for index in 0..CHANNELS.len() {
                record.take(index, &self.noise, now, world);
            }
        }
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
            // Ten megabytes a second, after 5 ms.
            Order::AskData(_) => {
                let points = self.record.as_ref().map_or(0, |record| record.points as u64);
                Duration::from_millis(5) + Duration::from_nanos(points * 2 * 100)
            }
            Order::SetRate(_) | Order::SetPoints(_) | Order::Initiate | Order::Abort => Duration::from_millis(2),
            _ => Duration::from_millis(1),
        }
    }

    fn execute(&mut self, order: Order, span: Span, world: &mut World) -> std::result::Result<Answer, Error> {
        self.catch_up(span.now, world);
        match order {
            Order::SetRate(rate_hz) => self.rate_hz = rate_hz,
            Order::SetPoints(points) => self.points = points,
            Order::AskRate => return Ok(Answer::set_point(self.rate_hz)),
            Order::AskPoints => return Ok(Answer::Text(self.points.to_string())),
            Order::Initiate => return self.initiate(span.now),
            Order::Abort => self.reset(span.now, world),
            Order::AskCondition => return Ok(self.condition(span.now)),
            Order::AskScaling(index) => {
                return Ok(Answer::Text(format!(
                    "{},{}",
                    nr3(0.0, 8),
                    nr3(CHANNELS[index].step(), 8)
                )));
            }
            Order::AskData(index) => return self.data(index, span.now, world),
            Order::AskTime => return self.time(),
            Order::AskQuick(what) => return Ok(self.quick(what, span, world)),
        }
        Ok(Answer::Nothing)
    }

    /// Rate and points stay as they are after `ABORt`, and after `*RST` too: a record needs both anew anyway.
    fn reset(&mut self, now: RunTime, _: &mut World) {
        if let Some(record) = self.record.as_mut().filter(|record| now < record.end()) {
            record.aborted = true;
        }
    }

    fn busy_until(&self) -> RunTime {
        self.record
            .as_ref()
            .filter(|record| !record.aborted)
            .map_or(RunTime::START, Record::end)
    }
}

/// `(@1)` to `(@4)`.
fn index(parameters: &mut Parameters<'_, '_>) -> Result<Index> {
    match channel(parameters)? {
        number @ 1..=4 => Ok(Index::from(number) - 1),
        _ => Err(ErrorCode::DataOutOfRange.extended(b"no such channel")),
    }
}

/// The quick measurements serve the pilot's channel.
fn quick_of(parameters: &mut Parameters<'_, '_>, what: Quick) -> Result<Order> {
    match index(parameters)? {
        0 => Ok(Order::AskQuick(what)),
        _ => Err(ErrorCode::SettingsConflict.extended(b"quick measurements serve channel 1")),
    }
}

type H = Header<Order>;
const SRATE: H = Header {
    set: Some(|given| RATE.read(given).map(Order::SetRate)),
    ask: Some(|_| Ok(Order::AskRate)),
};
const POINTS: H = Header {
    set: Some(|given| whole(given, 1, MOST_POINTS).map(Order::SetPoints)),
    ask: Some(|_| Ok(Order::AskPoints)),
};
const INITIATE: H = Header {
    set: Some(|_| Ok(Order::Initiate)),
    ask: None,
};
const ABORT: H = Header {
    set: Some(|_| Ok(Order::Abort)),
    ask: None,
};
const CONDITION: H = Header {
    set: None,
    ask: Some(|_| Ok(Order::AskCondition)),
};
const SCALING: H = Header {
    set: None,
    ask: Some(|given| index(given).map(Order::AskScaling)),
};
const DATA: H = Header {
    set: None,
    ask: Some(|given| index(given).map(Order::AskData)),
};
const TIME: H = Header {
    set: None,
    ask: Some(|_| Ok(Order::AskTime)),
};
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

const TREE: scpi::tree::Node<'static, Intake<Order>> = tree![
    Branch![b"ACQuire"; Leaf!(b"SRATe" => &SRATE), Leaf!(b"POINts" => &POINTS)],
    Leaf!(b"INITiate" => &INITIATE),
    Leaf!(b"ABORt" => &ABORT),
    Branch![b"STATus"; Branch![b"OPERation"; Leaf!(b"CONDition" => &CONDITION)]],
    Branch![b"TRACe"; Leaf!(b"SCALing" => &SCALING), Leaf!(b"DATA" => &DATA), Leaf!(b"TIME" => &TIME)],
    Branch![b"MEASure";
        Leaf!(b"HIGH" => &HIGH),
        Leaf!(b"LOW" => &LOW),
        Leaf!(b"FREQuency" => &FREQUENCY),
        Leaf!(b"PDUTycycle" => &DUTY)
    ],
];
