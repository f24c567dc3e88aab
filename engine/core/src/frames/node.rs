//! One party on a bus: sends periodically what a map says that the bench sends, watches what it says that comes. It has no clock: who
//! holds it asks when it is due and hands over what came.

use super::frame::Frame;
use super::layout::{Layout, Map, OutOfRange};
use super::life::Life;
use super::watch::{Figures, Watch};
use crate::time::RunTime;

/// How the frames of one kind are sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Sending {
    /// As they should be.
    On,
    /// Not at all.
    #[default]
    Stopped,
    /// The counter stands.
    BadCounter,
    /// The checksum is wrong.
    BadChecksum,
    /// Every second one is left out, its count with it.
    Lost,
    /// Nobody can send: the bench holds the bus.
    BusOff,
}

impl Sending {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::On,
        Self::Stopped,
        Self::BadCounter,
        Self::BadChecksum,
        Self::Lost,
        Self::BusOff,
    ];

    /// The word in files and messages.
    pub const fn word(self) -> &'static str {
        match self {
            Self::On => "on",
            Self::Stopped => "stopped",
            Self::BadCounter => "bad_counter",
            Self::BadChecksum => "bad_checksum",
            Self::Lost => "lost",
            Self::BusOff => "bus_off",
        }
    }

    /// The one that a word names.
    pub fn find(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|sending| sending.word() == word)
    }
}

/// What a party cannot do.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NodeError {
    /// The map has no such frame.
    #[error("the map has no frame `{0}`")]
    NoFrame(String),
    /// The frame has no such signal.
    #[error("the frame has no signal `{0}`")]
    NoSignal(String),
    /// The frame comes from the item.
    #[error("the frame `{0}` comes from the item")]
    NotSent(String),
    /// The frame goes to the item.
    #[error("the frame `{0}` goes to the item")]
    NotWatched(String),
    /// The signal has no such word, or takes an amount.
    #[error("the signal has no word `{0}`")]
    NoWord(String),
    /// The value does not fit.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
}

/// Frames of one kind that are sent.
#[derive(Debug, Clone, PartialEq)]
struct Outgoing {
    raws: Vec<i64>,
    sending: Sending,
    count: u32,
    /// How many were due.
    number: u64,
    due: Option<RunTime>,
}

#[derive(Debug, Clone, PartialEq)]
enum Side {
    Sent(Outgoing),
    Watched(Watch),
}

/// The party.
#[derive(Debug, Clone, PartialEq)]
pub struct Node {
    map: Map,
    sides: Vec<Side>,
    /// Since when it watches.
    since: RunTime,
    /// Who must show life while it sends, if anybody.
    owner: Option<Life>,
    /// When it told the item to stop because its owner showed no life, where nobody has been told yet.
    abandoned: Option<RunTime>,
}

impl Node {
    /// Sends nothing yet.
    pub fn new(map: Map) -> Self {
        let sides = map.frames.iter().map(|layout| side(layout, &map)).collect();
        Self {
            map,
            sides,
            since: RunTime::START,
            owner: None,
            abandoned: None,
        }
    }

    /// From now on it sends what it is told only while its owner shows life ([`Life::WITHIN`]); else what the map says of each frame that
    /// is abandoned.
    pub fn owned_by(&mut self, owner: Life) {
        self.owner = Some(owner);
    }

    /// When it told the item to stop because its owner showed no life; said once.
    pub fn was_abandoned(&mut self) -> Option<RunTime> {
        self.abandoned.take()
    }

    /// What it was made from.
    pub fn map(&self) -> &Map {
        &self.map
    }

    /// As new: sends nothing, has seen nothing.
    pub fn reset(&mut self, now: RunTime) {
        self.since = now;
        self.abandoned = None;
        self.sides = self.map.frames.iter().map(|layout| side(layout, &self.map)).collect();
    }

    fn layout(&self, frame: &str) -> Result<(usize, &Layout), NodeError> {
        self.map
            .named(frame)
            .ok_or_else(|| NodeError::NoFrame(frame.to_owned()))
    }

    fn outgoing(&mut self, frame: &str) -> Result<&mut Outgoing, NodeError> {
        let (place, _) = self.layout(frame)?;
        match &mut self.sides[place] {
            Side::Sent(outgoing) => Ok(outgoing),
            Side::Watched(_) => Err(NodeError::NotSent(frame.to_owned())),
        }
    }

    fn watch(&self, frame: &str) -> Result<&Watch, NodeError> {
        let (place, _) = self.layout(frame)?;
        match &self.sides[place] {
            Side::Watched(watch) => Ok(watch),
            Side::Sent(_) => Err(NodeError::NotWatched(frame.to_owned())),
        }
    }

    /// Puts an amount into a frame that is sent.
    pub fn set(&mut self, frame: &str, signal: &str, value: f64) -> Result<(), NodeError> {
        let (_, layout) = self.layout(frame)?;
        let (place, signal) = find(layout, signal)?;
        let raw = signal.raw(value)?;
        self.outgoing(frame)?.raws[place] = raw;
        Ok(())
    }

    /// Puts a word into a frame that is sent.
    pub fn set_word(&mut self, frame: &str, signal: &str, word: &str) -> Result<(), NodeError> {
        let (_, layout) = self.layout(frame)?;
        let (place, signal) = find(layout, signal)?;
        let raw = signal
            .raw_of_word(word)
            .ok_or_else(|| NodeError::NoWord(word.to_owned()))?;
        self.outgoing(frame)?.raws[place] = raw;
        Ok(())
    }

    /// Says how frames of one kind are sent from now on. The first one goes at once.
    pub fn send(&mut self, frame: &str, sending: Sending, now: RunTime) -> Result<(), NodeError> {
        let outgoing = self.outgoing(frame)?;
        outgoing.due = match sending {
            Sending::Stopped => None,
            _ => outgoing.due.or(Some(now)),
        };
        outgoing.sending = sending;
        Ok(())
    }

    /// How frames of one kind are sent.
    pub fn sending(&self, frame: &str) -> Result<Sending, NodeError> {
        let (place, _) = self.layout(frame)?;
        match &self.sides[place] {
            Side::Sent(outgoing) => Ok(outgoing.sending),
            Side::Watched(_) => Err(NodeError::NotSent(frame.to_owned())),
        }
    }

    /// The raw number of a signal: as it is sent, or as it came last; `None` where nothing came for ten periods.
    fn raw(&self, place: usize, signal: usize, now: RunTime) -> Option<i64> {
        match &self.sides[place] {
            Side::Sent(outgoing) => outgoing.raws.get(signal).copied(),
            Side::Watched(watch) => watch.raws(now).and_then(|raws| raws.get(signal).copied()),
        }
    }

    /// The value of a signal.
    pub fn value(&self, frame: &str, signal: &str, now: RunTime) -> Result<Option<f64>, NodeError> {
        let (place, layout) = self.layout(frame)?;
        let (number, signal) = find(layout, signal)?;
        Ok(self.raw(place, number, now).map(|raw| signal.value(raw)))
    }

    /// The word of a signal; a number without a word comes as the number.
    pub fn word(&self, frame: &str, signal: &str, now: RunTime) -> Result<Option<String>, NodeError> {
        let (place, layout) = self.layout(frame)?;
        let (number, signal) = find(layout, signal)?;
        let word = |raw: i64| signal.word(raw).map_or_else(|| raw.to_string(), str::to_owned);
        Ok(self.raw(place, number, now).map(word))
    }

    /// Whether a signal holds words.
    pub fn holds_words(&self, frame: &str, signal: &str) -> Result<bool, NodeError> {
        let (_, layout) = self.layout(frame)?;
        find(layout, signal).map(|(_, signal)| !signal.words.is_empty())
    }

    /// Figures of frames that come.
    pub fn figures(&self, frame: &str, now: RunTime) -> Result<Option<Figures>, NodeError> {
        self.watch(frame).map(|watch| watch.figures(now))
    }

    /// Seconds since the last frame of a kind that comes; since it watches where none came.
    pub fn silence_s(&self, frame: &str, now: RunTime) -> Result<f64, NodeError> {
        let silence = self.watch(frame)?.silence(now);
        Ok(silence.unwrap_or(now.since(self.since)).as_secs_f64())
    }

    /// When the next frame is due.
    pub fn due(&self) -> Option<RunTime> {
        let dues = self.sides.iter().filter_map(|side| match side {
            Side::Sent(outgoing) => outgoing.due,
            Side::Watched(_) => None,
        });
        dues.min()
    }

    /// Whether it keeps everyone from sending.
    pub fn holds_the_bus(&self) -> bool {
        let held = |side: &Side| matches!(side, Side::Sent(outgoing) if outgoing.sending == Sending::BusOff);
        self.sides.iter().any(held)
    }

    /// Where the owner shows no life: what stops the item takes the place of what was told.
    fn stop_where_abandoned(&mut self, now: RunTime) {
        let alive = |owner: &Life| owner.silence(now) <= Life::WITHIN;
        if self.owner.as_ref().is_none_or(alive) {
            return;
        }
        let mut changed = false;
        for (layout, side) in self.map.frames.iter().zip(&mut self.sides) {
            if let Side::Sent(outgoing) = side {
                changed |= outgoing.abandon(layout);
            }
        }
        if changed {
            self.abandoned = Some(now);
        }
    }

    /// The frames that are due now, in the order of the map.
    pub fn transmit(&mut self, now: RunTime) -> Vec<Frame> {
        self.stop_where_abandoned(now);
        let holds = self.holds_the_bus();
        let mut frames = Vec::new();
        for (layout, side) in self.map.frames.iter().zip(&mut self.sides) {
            let Side::Sent(outgoing) = side else { continue };
            let frame = outgoing.next(layout, now);
            frames.extend(frame.filter(|_| !holds));
        }
        frames
    }

    /// Notes a frame that came.
    pub fn received(&mut self, frame: &Frame, at: RunTime) {
        let Some((place, layout)) = self.map.with_id(frame.id) else {
            return;
        };
        if let Side::Watched(watch) = &mut self.sides[place] {
            watch.note(layout, frame, at);
        }
    }
}

fn find<'l>(layout: &'l Layout, signal: &str) -> Result<(usize, &'l super::layout::Signal), NodeError> {
    layout
        .signal(signal)
        .ok_or_else(|| NodeError::NoSignal(signal.to_owned()))
}

fn side(layout: &Layout, map: &Map) -> Side {
    if layout.to_item {
        Side::Sent(Outgoing {
            raws: layout.signals.iter().map(super::layout::Signal::at_rest).collect(),
            sending: Sending::Stopped,
            count: 0,
            number: 0,
            due: None,
        })
    } else {
        Side::Watched(Watch::new(layout, map.window))
    }
}

impl Outgoing {
    /// Sends what the layout says of one that is abandoned; says whether that is anything else than before.
    fn abandon(&mut self, layout: &Layout) -> bool {
        if self.due.is_none() {
            return false;
        }
        let before = (self.raws.clone(), self.sending);
        if let Some(raws) = &layout.abandoned {
            for (place, raw) in raws {
                self.raws[*place] = *raw;
            }
            self.sending = Sending::On;
        } else {
            self.sending = Sending::Stopped;
            self.due = None;
        }
        before != (self.raws.clone(), self.sending)
    }

    /// The frame that is due, where one is and is not left out. A party that was held up does not catch up on what it missed.
    fn next(&mut self, layout: &Layout, now: RunTime) -> Option<Frame> {
        let due = self.due.filter(|due| *due <= now)?;
        let next = due.plus(layout.period);
        self.due = Some(if next > now { next } else { now.plus(layout.period) });
        self.number += 1;
        if self.sending != Sending::BadCounter {
            self.count = (self.count + 1) % layout.counter.map_or(1, |counter| counter.modulus);
        }
        let frame = layout.encode(&self.raws, self.count);
        match self.sending {
            Sending::Stopped => None,
            Sending::Lost if self.number.is_multiple_of(2) => None,
            Sending::BadChecksum => Some(layout.spoiled(&frame)),
            _ => Some(frame),
        }
    }
}
