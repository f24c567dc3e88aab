//! What records in the background: rate, points, one record of every channel, given away as blocks. The capture instrument and the
//! power analyser are built on it.

use super::frame::Span;
use super::front::{Front, Index, Run};
use super::reply::{Answer, nr3};
use super::syntax::{Amount, Header, channel, whole};
use crate::physics::World;
use pilotage_core::RunTime;
use scpi::error::{ErrorCode, Result};
use scpi::parser::parameters::Parameters;
use std::marker::PhantomData;
use std::time::Duration;

/// Samples that are computed at once.
const CHUNK: usize = 16_384;
/// Bit of the operation register while acquiring.
const ACQUIRING: u16 = 256;
/// Record length that is taken from the world as it goes, so that a long capture outlives the world's memory of two minutes.
const CATCH_UP: Duration = Duration::from_secs(20);

/// What every recorder can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Recording {
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
}

/// Orders of an instrument that records, and what its recorder can do.
pub(super) trait Records: From<Recording> + 'static {
    /// Sample rate, Hz.
    const RATE: Amount;
    /// Most points of a channel.
    const MOST_POINTS: u32;
    /// Number of channels.
    const CHANNELS: u16;
}

/// One record.
struct Record {
    run: Run,
    points: usize,
    codes: Vec<Vec<i16>>,
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

/// Front, settings, and the record.
pub(super) struct Recorder {
    pub(super) front: Front,
    rate_hz: f64,
    points: u32,
    record: Option<Record>,
}

impl Recorder {
    pub(super) fn new(front: Front) -> Self {
        Self {
            front,
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
            codes: vec![Vec::new(); self.front.count()],
            aborted: false,
        });
        Ok(Answer::Nothing)
    }

    fn condition(&self, now: RunTime) -> Answer {
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

    /// Takes from the world what it might forget.
    pub(super) fn catch_up(&mut self, now: RunTime, world: &mut World) {
        let Some(record) = self
            .record
            .as_mut()
            .filter(|record| !record.aborted && record.untaken(now) > CATCH_UP)
        else {
            return;
        };
        for index in 0..self.front.count() {
            record.take(index, &self.front, now, world);
        }
    }

    /// Execution time of an order.
    pub(super) fn takes(&self, order: Recording) -> Duration {
        match order {
            // Ten megabytes a second, after 5 ms.
            Recording::AskData(_) => {
                let points = self.record.as_ref().map_or(0, |record| record.points as u64);
                Duration::from_millis(5) + Duration::from_nanos(points * 2 * 100)
            }
            Recording::SetRate(_) | Recording::SetPoints(_) | Recording::Initiate | Recording::Abort => {
                Duration::from_millis(2)
            }
            _ => Duration::from_millis(1),
        }
    }

    /// Does a part of the work of giving a channel away; true while there is more.
    pub(super) fn prepare(&mut self, order: Recording, now: RunTime, world: &mut World) -> bool {
        match (order, &mut self.record) {
            (Recording::AskData(index), Some(record)) if !record.aborted && now >= record.end() => {
                record.take_some(index, &self.front, now, world)
            }
            _ => false,
        }
    }

    /// Executes an order.
    pub(super) fn execute(&mut self, order: Recording, span: Span, world: &mut World) -> Result<Answer> {
        match order {
            Recording::SetRate(rate_hz) => self.rate_hz = rate_hz,
            Recording::SetPoints(points) => self.points = points,
            Recording::AskRate => return Ok(Answer::set_point(self.rate_hz)),
            Recording::AskPoints => return Ok(Answer::Text(self.points.to_string())),
            Recording::Initiate => return self.initiate(span.now),
            Recording::Abort => self.abort(span.now),
            Recording::AskCondition => return Ok(self.condition(span.now)),
            Recording::AskScaling(index) => {
                return Ok(Answer::Text(format!(
                    "{},{}",
                    nr3(0.0, 8),
                    nr3(self.front.step(index), 8)
                )));
            }
            Recording::AskData(index) => return self.data(index, span.now, world),
            Recording::AskTime => return self.time(),
        }
        Ok(Answer::Nothing)
    }

    /// Rate and points stay as they are after `ABORt`, and after `*RST` too: a record needs both anew anyway.
    pub(super) fn abort(&mut self, now: RunTime) {
        if let Some(record) = self.record.as_mut().filter(|record| now < record.end()) {
            record.aborted = true;
        }
    }

    pub(super) fn busy_until(&self) -> RunTime {
        self.record
            .as_ref()
            .filter(|record| !record.aborted)
            .map_or(RunTime::START, Record::end)
    }
}

/// `(@1)` up to the last channel.
fn index<O: Records>(parameters: &mut Parameters<'_, '_>) -> Result<Index> {
    match channel(parameters)? {
        number if (1..=O::CHANNELS).contains(&number) => Ok(Index::from(number) - 1),
        _ => Err(ErrorCode::DataOutOfRange.extended(b"no such channel")),
    }
}

/// The headers of a recorder, for the tree of an instrument with these orders.
pub(super) struct Headers<O>(PhantomData<O>);

impl<O: Records> Headers<O> {
    pub(super) const RATE: Header<O> = Header {
        set: Some(|given| O::RATE.read(given).map(|hz| Recording::SetRate(hz).into())),
        ask: Some(|_| Ok(Recording::AskRate.into())),
    };
    pub(super) const POINTS: Header<O> = Header {
        set: Some(|given| whole(given, 1, O::MOST_POINTS).map(|points| Recording::SetPoints(points).into())),
        ask: Some(|_| Ok(Recording::AskPoints.into())),
    };
    pub(super) const INITIATE: Header<O> = Header {
        set: Some(|_| Ok(Recording::Initiate.into())),
        ask: None,
    };
    pub(super) const ABORT: Header<O> = Header {
        set: Some(|_| Ok(Recording::Abort.into())),
        ask: None,
    };
    pub(super) const CONDITION: Header<O> = Header {
        set: None,
        ask: Some(|_| Ok(Recording::AskCondition.into())),
    };
    pub(super) const SCALING: Header<O> = Header {
        set: None,
        ask: Some(|given| index::<O>(given).map(|index| Recording::AskScaling(index).into())),
    };
    pub(super) const DATA: Header<O> = Header {
        set: None,
        ask: Some(|given| index::<O>(given).map(|index| Recording::AskData(index).into())),
    };
    pub(super) const TIME: Header<O> = Header {
        set: None,
        ask: Some(|_| Ok(Recording::AskTime.into())),
    };
}

/// The tree of headers of an instrument that records: those of its recorder, then its own.
macro_rules! recording_tree {
    ($order:ty; $($node:expr),+ $(,)?) => {{
        use $crate::instruments::common::tree;
        type Recorded = $crate::instruments::recorder::Headers<$order>;
        tree![
            Branch![b"ACQuire"; Leaf!(b"SRATe" => &Recorded::RATE), Leaf!(b"POINts" => &Recorded::POINTS)],
            Leaf!(b"INITiate" => &Recorded::INITIATE),
            Leaf!(b"ABORt" => &Recorded::ABORT),
            Branch![b"STATus"; Branch![b"OPERation"; Leaf!(b"CONDition" => &Recorded::CONDITION)]],
            Branch![b"TRACe";
                Leaf!(b"SCALing" => &Recorded::SCALING),
                Leaf!(b"DATA" => &Recorded::DATA),
                Leaf!(b"TIME" => &Recorded::TIME)
            ],
            $($node),+
        ]
    }};
}
pub(super) use recording_tree;
