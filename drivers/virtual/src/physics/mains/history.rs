//! The recent past of the network: which switching was when.

use std::collections::VecDeque;

use super::complex::Complex;
use super::network::Switching;
use super::wave::{ORDERS, Wave};

/// A stretch of time in which nothing switches.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Stretch {
    /// Start, s.
    pub(in super::super) start_s: f64,
    /// Angle of the source at the start, rad.
    pub(in super::super) phase: f64,
    /// The network.
    pub(in super::super) switching: Switching,
}

/// Something that holds from a moment on.
pub(in super::super) trait Begun: Copy {
    /// When it begins, s.
    fn start_s(&self) -> f64;
}

impl Begun for Stretch {
    fn start_s(&self) -> f64 {
        self.start_s
    }
}

/// Stretches in the order of their start; the last one is still running.
#[derive(Debug)]
pub(in super::super) struct History<S = Stretch> {
    stretches: VecDeque<S>,
}

impl History {
    pub(in super::super) fn new(switching: Switching) -> Self {
        Self::beginning(Stretch {
            start_s: 0.0,
            phase: 0.0,
            switching,
        })
    }

    /// Begins a stretch; the source's angle goes on without a jump.
    pub(in super::super) fn push(&mut self, start_s: f64, switching: Switching, keep_s: f64) {
        let last = *self.last();
        if last.switching == switching {
            return;
        }
        let phase = last.phase_at(start_s);
        self.follow(
            Stretch {
                start_s,
                phase,
                switching,
            },
            keep_s,
        );
    }
}

impl<S: Begun> History<S> {
    pub(in super::super) fn beginning(first: S) -> Self {
        Self {
            stretches: VecDeque::from([first]),
        }
    }

    /// The running stretch.
    pub(in super::super) fn last(&self) -> &S {
        self.stretches
            .back()
            .expect("a history starts with one stretch and keeps the last")
    }

    /// Begins a stretch; what ended before `keep_s` ago may be forgotten.
    pub(in super::super) fn follow(&mut self, next: S, keep_s: f64) {
        if self.last().start_s() >= next.start_s() {
            self.stretches.pop_back();
        }
        self.stretches.push_back(next);
        while self.stretches.len() > 1 && self.stretches[1].start_s() < next.start_s() - keep_s {
            self.stretches.pop_front();
        }
    }

    /// Stretches that end after `from_s` and start by `to_s`, with their ends.
    pub(in super::super) fn overlapping(&self, from_s: f64, to_s: f64) -> impl Iterator<Item = (S, f64)> + '_ {
        let later = self.stretches.partition_point(|stretch| stretch.start_s() <= from_s);
        (later.saturating_sub(1)..self.stretches.len())
            .map(|index| {
                let end_s = self.stretches.get(index + 1).map_or(f64::INFINITY, S::start_s);
                (self.stretches[index], end_s)
            })
            .take_while(move |(stretch, _)| stretch.start_s() <= to_s)
    }
}

impl Stretch {
    /// Angular frequency of the source, 1/s.
    pub(in super::super) fn omega(&self) -> f64 {
        2.0 * core::f64::consts::PI * self.switching.frequency
    }

    /// Angle of the source, rad.
    pub(in super::super) fn phase_at(&self, time_s: f64) -> f64 {
        let turns = (time_s - self.start_s) * self.switching.frequency;
        let whole = libm::floor(turns);
        let angle = self.phase + 2.0 * core::f64::consts::PI * (turns - whole);
        libm::fmod(angle, 2.0 * core::f64::consts::PI)
    }

    /// The first moment after `time_s` at which the source has this angle, s.
    pub(in super::super) fn next_angle_s(&self, time_s: f64, angle: f64) -> f64 {
        let turns = (angle - self.phase_at(time_s)) / (2.0 * core::f64::consts::PI);
        time_s + (turns - libm::floor(turns)) / self.switching.frequency
    }

    /// The first moment from `time_s` on at which a current in phase with the source is zero, s.
    pub(in super::super) fn next_zero_s(&self, time_s: f64) -> f64 {
        let half_turns = self.phase_at(time_s) / core::f64::consts::PI;
        let missing = libm::ceil(half_turns) - half_turns;
        time_s + missing * 0.5 / self.switching.frequency
    }

    /// The wave of a node in this stretch.
    pub(in super::super) fn wave(&self, phasors: [Complex; ORDERS.len()]) -> Wave {
        Wave {
            phasors,
            omega: self.omega(),
            start_s: self.start_s,
            angle: self.phase,
        }
    }
}
