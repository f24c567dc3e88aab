//! The capture instrument (WAVE-4CH): four channels of 12 bit that record in the background.

use super::accuracy::NOT_A_NUMBER;
use super::common::tree;
use super::flaws::Flaws;
use super::frame::{Model, Span};
use super::front::{COUNT, Channel, Front, Index, Run};
use super::inputs::Inputs;
use super::noise::Noise;
use super::quick::{self, Quick};
use super::reply::{Answer, nr3};
use super::syntax::{Amount, HERTZ, Header, Intake, Unit, channel, read_line, whole};
use crate::physics::World;
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
/// Length of the record of a quick measurement.
const QUICK_RECORD: Duration = Duration::from_millis(10);
/// Interval of its samples, s.
const QUICK_INTERVAL_S: f64 = 1e-6;
/// Samples that are computed at once.
const CHUNK: usize = 16_384;
/// Bit of the operation register while acquiring.
const ACQUIRING: u16 = 256;
/// Record length that is taken from the world as it goes, so that a long capture outlives the world's memory of two minutes.
const CATCH_UP: Duration = Duration::from_secs(20);

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
    run: Run,
    points: usize,
    codes: [Vec<i16>; COUNT],
    aborted: bool,
}

impl Record {
    fn end(&self) -> RunTime {
        self.at(self.points)
    }

    fn at(&self, sample: usize) -> RunTime {
        self.run
            .start
            .plus(Duration::from_secs_f64(self.run.interval_s * sample as f64))
    }

    /// How many samples lie before `now`.
    fn passed(&self, now: RunTime) -> usize {
        if now >= self.end() {
            return self.points;
        }
        let passed = now.since(self.run.start).as_secs_f64() / self.run.interval_s;
        (passed as usize).min(self.points)
    }

    /// Takes the samples of a channel that have passed.
    fn take(&mut self, index: Index, front: &Front, now: RunTime, world: &mut World) {
        while self.take_some(index, front, now, world) {}
    }

    /// Takes some of them; true while there are more.
    fn take_some(&mut self, index: Index, front: &Front, now: RunTime, world: &mut World) -> bool {
        let upto = self.passed(now);
        let first = self.codes[index].len();
        if first < upto {
            let codes = front.codes(index, &self.run, (first, (upto - first).min(CHUNK)), world);
            self.codes[index].extend(codes);
        }
        self.codes[index].len() < upto
    }

    /// Length that has passed and is not taken yet.
    fn untaken(&self, now: RunTime) -> Duration {
        let shortest = self.codes.iter().map(Vec::len).min().unwrap_or(0);
        now.min(self.end()).since(self.at(shortest))
    }
}

/// The model.
pub(crate) struct Capture {
    front: Front,
    rate_hz: f64,
    points: u32,
    record: Option<Record>,
}

impl Capture {
    pub(crate) fn new(noise: Noise, channels: &'static [Channel; COUNT], flaws: &Flaws, inputs: Inputs) -> Self {
        Self {
            front: Front::new(noise, channels, flaws, inputs),
            rate_hz: 1e6,
            points: 1000,
            record: None,
        }
    }

    fn initiate(&mut self, now: RunTime) -> Result<Answer> {
        if now < self.busy_until() {
            return Err(ErrorCode::InitIgnored.into());
        }
        let run = Run {
            start: now,
            interval_s: (1.0 + self.front.time_error()) / self.rate_hz,
            readings: self.front.begin(),
        };
        self.record = Some(Record {
            run,
            points: self.points as usize,
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
        record.take(index, &self.front, now, world);
        Ok(Answer::Block(
            record.codes[index].iter().flat_map(|code| code.to_le_bytes()).collect(),
        ))
    }

    fn time(&self) -> Result<Answer> {
        let record = self.record.as_ref().ok_or(ErrorCode::DataCorruptOrStale)?;
        let shown_s = record.run.start.seconds() * (1.0 - self.front.time_error());
        Ok(Answer::Text(nr3(shown_s, 12)))
    }

    fn quick(&mut self, what: Quick, span: Span, world: &mut World) -> Answer {
        let (start, to) = span.aperture(QUICK_RECORD);
        let interval_s = QUICK_INTERVAL_S * (1.0 + self.front.time_error());
        let count = libm::floor(to.since(start).as_secs_f64() / interval_s) as usize;
        let run = Run {
            start,
            interval_s,
            readings: self.front.begin(),
        };
        let codes = self.front.codes(0, &run, (0, count), world);
        let record: Vec<f64> = codes
            .into_iter()
            .map(|code| f64::from(code) * self.front.step(0))
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
            for index in 0..COUNT {
                record.take(index, &self.front, now, world);
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

    fn prepare(&mut self, order: &Order, now: RunTime, world: &mut World) -> bool {
        match (order, &mut self.record) {
            (Order::AskData(index), Some(record)) if !record.aborted && now >= record.end() => {
                record.take_some(*index, &self.front, now, world)
            }
            _ => false,
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
                    nr3(self.front.step(index), 8)
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
