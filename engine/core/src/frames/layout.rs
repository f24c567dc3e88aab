//! A kind of frame: its signals with their scale and words, its counter, its checksum, its period.

use super::checksum::Checksum;
use super::field::Field;
use super::frame::{Frame, Id, MOST_BYTES};
use crate::unit::Unit;
use std::time::Duration;

/// Everything that a map of frames says.
#[derive(Debug, Clone, PartialEq)]
pub struct Map {
    /// Bits a second on the bus.
    pub bit_rate: u32,
    /// Time over which the figures of what comes are made.
    pub window: Duration,
    /// The kinds of frame.
    pub frames: Vec<Layout>,
}

/// One kind of frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// Its name.
    pub name: String,
    /// Its identifier.
    pub id: Id,
    /// Whether the bench sends it; else it comes from the item.
    pub to_item: bool,
    /// How far apart they are.
    pub period: Duration,
    /// Bytes.
    pub length: u8,
    /// Its signals.
    pub signals: Vec<Signal>,
    /// Its counter.
    pub counter: Option<Counter>,
    /// Its checksum.
    pub checksum: Option<Check>,
    /// What goes on being sent where whoever sends it shows no life any more: places of signals with their raw numbers. `None`: nothing is
    /// sent any more.
    pub abandoned: Option<Vec<(usize, i64)>>,
}

/// One signal.
#[derive(Debug, Clone, PartialEq)]
pub struct Signal {
    /// Its name.
    pub name: String,
    /// Its bits.
    pub field: Field,
    /// Value of one step of the raw number.
    pub factor: f64,
    /// Value of the raw number 0.
    pub offset: f64,
    /// Unit of the value.
    pub unit: Unit,
    /// Raw numbers with their words; empty where it is an amount.
    pub words: Vec<(i64, String)>,
}

/// A counter that each frame carries on by one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Counter {
    /// Its bits.
    pub field: Field,
    /// It counts from 0 to one less than this.
    pub modulus: u32,
}

/// A checksum over all other bytes of the frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Check {
    /// How it is made.
    pub kind: Checksum,
    /// In which byte it lies.
    pub byte: u8,
    /// Two bytes that are taken before those of the frame, the lower one first.
    pub data_id: Option<u16>,
}

/// A value that a signal cannot hold.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{value} {unit} lies outside of {low} {unit} to {high} {unit}, which `{signal}` can hold")]
pub struct OutOfRange {
    /// The signal.
    pub signal: String,
    /// As given.
    pub value: f64,
    /// Lowest value.
    pub low: f64,
    /// Highest value.
    pub high: f64,
    /// Unit of all of them.
    pub unit: &'static str,
}

impl Map {
    /// A kind of frame by its name, with its place.
    pub fn named(&self, name: &str) -> Option<(usize, &Layout)> {
        self.frames.iter().enumerate().find(|(_, layout)| layout.name == name)
    }

    /// A kind of frame by its identifier, with its place.
    pub fn with_id(&self, id: Id) -> Option<(usize, &Layout)> {
        self.frames.iter().enumerate().find(|(_, layout)| layout.id == id)
    }
}

impl Signal {
    /// The value of a raw number.
    pub fn value(&self, raw: i64) -> f64 {
        raw as f64 * self.factor + self.offset
    }

    /// Lowest and highest value.
    pub fn bounds(&self) -> (f64, f64) {
        let (low, high) = self.field.range();
        let (a, b) = (self.value(low), self.value(high));
        (a.min(b), a.max(b))
    }

    /// The raw number nearest to a value.
    pub fn raw(&self, value: f64) -> Result<i64, OutOfRange> {
        let steps = libm::round((value - self.offset) / self.factor);
        let (lowest, highest) = self.field.range();
        if steps.is_finite() && (lowest as f64..=highest as f64).contains(&steps) {
            return Ok(steps as i64);
        }
        let (low, high) = self.bounds();
        Err(OutOfRange {
            signal: self.name.clone(),
            value,
            low,
            high,
            unit: self.unit.symbol,
        })
    }

    /// The raw number nearest to a value, or the end of the range that it lies beyond.
    pub fn raw_within(&self, value: f64) -> i64 {
        let (low, high) = self.bounds();
        self.raw(value.clamp(low, high)).unwrap_or(0)
    }

    /// The word of a raw number.
    pub fn word(&self, raw: i64) -> Option<&str> {
        let found = self.words.iter().find(|(number, _)| *number == raw);
        found.map(|(_, word)| word.as_str())
    }

    /// The raw number of a word.
    pub fn raw_of_word(&self, word: &str) -> Option<i64> {
        let found = self.words.iter().find(|(_, known)| known == word);
        found.map(|(number, _)| *number)
    }

    /// What it holds before anything was set: 0, or the nearest to it.
    pub fn at_rest(&self) -> i64 {
        if self.words.is_empty() {
            self.raw_within(0.0)
        } else {
            self.words.first().map_or(0, |(number, _)| *number)
        }
    }
}

impl Layout {
    /// A signal by its name, with its place.
    pub fn signal(&self, name: &str) -> Option<(usize, &Signal)> {
        self.signals.iter().enumerate().find(|(_, signal)| signal.name == name)
    }

    /// A frame with these raw numbers, one for each signal, and this count.
    pub fn encode(&self, raws: &[i64], count: u32) -> Frame {
        let mut data = [0_u8; MOST_BYTES as usize];
        let data = &mut data[..usize::from(self.length)];
        for (signal, raw) in self.signals.iter().zip(raws) {
            signal.field.pack(data, *raw);
        }
        if let Some(counter) = &self.counter {
            counter.field.pack(data, i64::from(count % counter.modulus));
        }
        if let Some(check) = &self.checksum {
            data[usize::from(check.byte)] = check.of(data);
        }
        Frame::new(self.id, data).expect("a layout has at most eight bytes")
    }

    /// The raw numbers of a frame, one for each signal.
    pub fn decode(&self, frame: &Frame) -> Vec<i64> {
        let raws = self.signals.iter().map(|signal| signal.field.unpack(frame.data()));
        raws.collect()
    }

    /// The count of a frame.
    pub fn count(&self, frame: &Frame) -> Option<u32> {
        let counter = self.counter.as_ref()?;
        u32::try_from(counter.field.unpack(frame.data())).ok()
    }

    /// Whether a frame is as long as it should be and its checksum is right.
    pub fn is_sound(&self, frame: &Frame) -> bool {
        frame.data().len() == usize::from(self.length)
            && self
                .checksum
                .is_none_or(|check| frame.data()[usize::from(check.byte)] == check.of(frame.data()))
    }

    /// The same frame with a checksum that is wrong; unchanged where it has none.
    pub fn spoiled(&self, frame: &Frame) -> Frame {
        let mut data = [0_u8; MOST_BYTES as usize];
        let data = &mut data[..frame.data().len()];
        data.copy_from_slice(frame.data());
        if let Some(check) = &self.checksum {
            data[usize::from(check.byte)] ^= 0x5a;
        }
        Frame::new(frame.id, data).expect("as long as before")
    }
}

impl Check {
    /// The checksum over all bytes but its own.
    fn of(self, data: &[u8]) -> u8 {
        let first = self.data_id.map(u16::to_le_bytes);
        let others = data.iter().enumerate().filter(|(k, _)| *k != usize::from(self.byte));
        self.kind
            .of(first.into_iter().flatten().chain(others.map(|(_, byte)| *byte)))
    }
}
