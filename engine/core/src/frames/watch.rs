//! Arrivals of one kind of frame: whether each counts, and period, loss and faults over a window.

use super::frame::Frame;
use super::layout::Layout;
use crate::time::RunTime;
use std::collections::VecDeque;
use std::time::Duration;

/// A frame that does not come for so many periods is missing.
pub const MISSING_AFTER_PERIODS: u32 = 10;

/// What one frame showed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Seen {
    /// Length and checksum are right.
    pub sound: bool,
    /// By how much the counter moved on since the frame before; `None` for the first one and where there is no counter.
    pub step: Option<u32>,
}

impl Seen {
    /// Whether a receiver may use it: sound, and not the same again.
    pub fn counts(self) -> bool {
        self.sound && self.step != Some(0)
    }

    /// Frames that are missing before it.
    pub fn lost(self) -> u32 {
        self.step.unwrap_or(1).saturating_sub(1)
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Arrival {
    at: RunTime,
    seen: Seen,
}

/// Figures over a window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figures {
    /// Frames that came.
    pub frames: usize,
    /// Mean period, s.
    pub mean_s: f64,
    /// Shortest period, s.
    pub min_s: f64,
    /// Longest period, s.
    pub max_s: f64,
    /// Standard deviation of the period, s; 0 of a single one.
    pub jitter_s: f64,
    /// Frames that the counter says are missing.
    pub lost: u32,
    /// Frames whose counter stood.
    pub repeated: u32,
    /// Frames of the wrong length or with a wrong checksum.
    pub unsound: u32,
}

/// Arrivals of one kind of frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Watch {
    window: Duration,
    missing_after: Duration,
    arrivals: VecDeque<Arrival>,
    last_count: Option<u32>,
    /// When the last frame that counts came, and its raw numbers.
    good: Option<(RunTime, Vec<i64>)>,
}

impl Watch {
    /// Nothing has come.
    pub fn new(layout: &Layout, window: Duration) -> Self {
        Self {
            window,
            missing_after: layout.period * MISSING_AFTER_PERIODS,
            arrivals: VecDeque::new(),
            last_count: None,
            good: None,
        }
    }

    /// Notes a frame of this kind.
    pub fn note(&mut self, layout: &Layout, frame: &Frame, at: RunTime) -> Seen {
        let seen = self.look(layout, frame);
        self.arrivals.push_back(Arrival { at, seen });
        while self
            .arrivals
            .front()
            .is_some_and(|first| at.since(first.at) > self.window)
        {
            self.arrivals.pop_front();
        }
        if seen.counts() {
            self.good = Some((at, layout.decode(frame)));
        }
        seen
    }

    /// What a frame shows beside the one before. The count of a frame that is not sound is not believed.
    fn look(&mut self, layout: &Layout, frame: &Frame) -> Seen {
        let sound = layout.is_sound(frame);
        let count = layout.count(frame).filter(|_| sound);
        let modulus = layout.counter.map_or(1, |counter| counter.modulus);
        let step = count
            .zip(self.last_count)
            .map(|(count, last)| (count + modulus - last % modulus) % modulus);
        self.last_count = count.or(self.last_count);
        Seen { sound, step }
    }

    /// Forgets what came: the next frame is the first one.
    pub fn forget(&mut self) {
        self.arrivals.clear();
        self.last_count = None;
        self.good = None;
    }

    /// Time since the last frame of any sort; `None` where none came.
    pub fn silence(&self, now: RunTime) -> Option<Duration> {
        self.arrivals.back().map(|last| now.since(last.at))
    }

    /// Raw numbers of the last frame that counts; `None` where none came for ten periods.
    pub fn raws(&self, now: RunTime) -> Option<&[i64]> {
        let (at, raws) = self.good.as_ref()?;
        (now.since(*at) <= self.missing_after).then_some(raws)
    }

    /// Figures of the window that ends now; `None` where fewer than two frames came in it, or none for ten periods.
    pub fn figures(&self, now: RunTime) -> Option<Figures> {
        if self.silence(now)? > self.missing_after {
            return None;
        }
        let inside: Vec<&Arrival> = self
            .arrivals
            .iter()
            .filter(|arrival| now.since(arrival.at) <= self.window)
            .collect();
        let periods: Vec<f64> = inside
            .windows(2)
            .map(|pair| pair[1].at.since(pair[0].at).as_secs_f64())
            .collect();
        if periods.is_empty() {
            return None;
        }
        let count = periods.len() as f64;
        let (first, last) = (inside.first()?, inside.last()?);
        let mean_s = last.at.since(first.at).as_secs_f64() / count;
        let squares: f64 = periods.iter().map(|period| (period - mean_s) * (period - mean_s)).sum();
        let counted = |which: fn(Seen) -> u32| inside.iter().map(|arrival| which(arrival.seen)).sum();
        Some(Figures {
            frames: inside.len(),
            mean_s,
            min_s: periods.iter().copied().fold(f64::INFINITY, f64::min),
            max_s: periods.iter().copied().fold(0.0, f64::max),
            jitter_s: if periods.len() > 1 {
                libm::sqrt(squares / (count - 1.0))
            } else {
                0.0
            },
            lost: counted(Seen::lost),
            repeated: counted(|seen| u32::from(seen.step == Some(0))),
            unsound: counted(|seen| u32::from(!seen.sound)),
        })
    }
}
