//! The pilot's recent past: which segment was when, and what can be read from it.

use std::collections::VecDeque;

use super::walker::{Hum, Piece, Segment, Walker};

/// Segments in the order of their start; the last one is still running.
#[derive(Debug)]
pub(in super::super) struct History {
    segments: VecDeque<Segment>,
}

impl History {
    pub(in super::super) fn new(first: Segment) -> Self {
        Self {
            segments: VecDeque::from([first]),
        }
    }

    /// The running segment.
    pub(in super::super) fn last(&self) -> &Segment {
        self.segments
            .back()
            .expect("a history starts with one segment and keeps the last")
    }

    /// Begins a segment at its start, taking over pilot and source as they are then.
    pub(in super::super) fn push(&mut self, mut next: Segment, keep_s: f64) {
        let last = self.last();
        (next.pilot_v, next.source_v) = state_at(last, next.start_s);
        if last.start_s >= next.start_s {
            self.segments.pop_back();
        }
        self.segments.push_back(next);
        while self.segments.len() > 1 && self.segments[1].start_s < next.start_s - keep_s {
            self.segments.pop_front();
        }
    }

    /// Appends `count` values, `interval_s` apart.
    pub(in super::super) fn samples(&self, from_s: f64, interval_s: f64, count: usize, out: &mut Vec<f64>) {
        out.reserve(count);
        let mut index = 0;
        for (segment, end_s) in self.overlapping(from_s) {
            let until = ends_before(end_s, from_s, interval_s, count);
            while index < until {
                index = fill_segment(segment, (from_s, interval_s), (index, until), out);
            }
        }
    }

    /// Root mean square over a span; of no time at all: the size at that moment.
    pub(in super::super) fn rms(&self, from_s: f64, to_s: f64) -> f64 {
        if to_s <= from_s {
            return libm::fabs(self.at(to_s));
        }
        libm::sqrt((self.integrals(from_s, to_s).1 / (to_s - from_s)).max(0.0))
    }

    /// Mean over a span; of no time at all: the value at that moment.
    pub(in super::super) fn mean(&self, from_s: f64, to_s: f64) -> f64 {
        if to_s <= from_s {
            return self.at(to_s);
        }
        self.integrals(from_s, to_s).0 / (to_s - from_s)
    }

    /// ∫v dt and ∫v² dt.
    fn integrals(&self, from_s: f64, to_s: f64) -> (f64, f64) {
        let mut sums = (0.0, 0.0);
        for (segment, end_s) in self.overlapping(from_s) {
            let (low, high) = (from_s.max(segment.start_s), to_s.min(end_s));
            let mut walker = Walker::seek(segment, low);
            let mut reached_s = low;
            while reached_s < high {
                let piece = walker.next_piece();
                let stop_s = piece.end_s.min(high);
                if stop_s > reached_s {
                    add_integrals(&piece, &segment.hum, (reached_s, stop_s), &mut sums);
                    reached_s = stop_s;
                }
            }
        }
        sums
    }

    /// The pilot at one moment, V.
    fn at(&self, time_s: f64) -> f64 {
        let segment = self
            .overlapping(time_s)
            .next()
            .map_or(self.last(), |(segment, _)| segment);
        state_at(segment, time_s).0
    }

    /// Segments that end after `from_s`, with their ends. What lies before the kept past is read as its first segment.
    fn overlapping(&self, from_s: f64) -> impl Iterator<Item = (&Segment, f64)> {
        let later = self.segments.partition_point(|segment| segment.start_s <= from_s);
        let first = later.saturating_sub(1);
        (first..self.segments.len()).map(|index| {
            let end_s = self.segments.get(index + 1).map_or(f64::INFINITY, |next| next.start_s);
            (&self.segments[index], end_s)
        })
    }
}

/// Pilot and source at one moment of a segment.
fn state_at(segment: &Segment, time_s: f64) -> (f64, f64) {
    if time_s <= segment.start_s {
        return (segment.pilot_v, segment.source_v);
    }
    let mut walker = Walker::seek(segment, time_s);
    loop {
        let piece = walker.next_piece();
        if piece.end_s >= time_s {
            return (piece.at(time_s, &segment.hum), piece.source_at(time_s));
        }
    }
}

/// The number of the first sample that is not before `end_s`.
fn ends_before(end_s: f64, from_s: f64, interval_s: f64, count: usize) -> usize {
    let span = libm::ceil((end_s - from_s) / interval_s);
    if span < count as f64 {
        span.max(0.0) as usize
    } else {
        count
    }
}

/// Fills from one seek on; returns the first sample that needs another.
fn fill_segment(
    segment: &Segment,
    (from_s, interval_s): (f64, f64),
    (mut index, until): (usize, usize),
    out: &mut Vec<f64>,
) -> usize {
    let time_of = |index: usize| from_s + index as f64 * interval_s;
    let far_s = Walker::worth_seeking_s(segment);
    let mut walker = Walker::seek(segment, time_of(index));
    while index < until {
        let piece = walker.next_piece();
        let stop = ends_before(piece.end_s, from_s, interval_s, until);
        if stop > index {
            fill_piece(&piece, &segment.hum, (time_of(index), interval_s), stop - index, out);
            index = stop;
        }
        if time_of(index) - piece.end_s > far_s {
            return index;
        }
    }
    index
}

/// The exponential is a running product within one piece: at 20 MS/s the exact function would cost more than the rest.
fn fill_piece(piece: &Piece, hum: &Hum, (from_s, interval_s): (f64, f64), count: usize, out: &mut Vec<f64>) {
    if hum.peak_v != 0.0 {
        out.extend((0..count).map(|k| piece.at(from_s + k as f64 * interval_s, hum)));
        return;
    }
    let x = from_s - piece.start_s;
    let step = libm::exp(-interval_s / piece.tau_s);
    let mut swing_v = piece.swing_v * libm::exp(-x / piece.tau_s);
    let mut left = count;
    let (line_v, rise_v) = (piece.base_v + piece.slope * x, piece.slope * interval_s);
    let mut k = 0.0;
    while left > 0 && (rise_v != 0.0 || libm::fabs(swing_v) > 1e-12) {
        out.push(line_v + rise_v * k + swing_v);
        swing_v *= step;
        k += 1.0;
        left -= 1;
    }
    out.extend(std::iter::repeat_n(line_v, left));
}

fn add_integrals(piece: &Piece, hum: &Hum, (from_s, to_s): (f64, f64), sums: &mut (f64, f64)) {
    let (x1, x2) = (from_s - piece.start_s, to_s - piece.start_s);
    let (b, m, a, tau) = (piece.base_v, piece.slope, piece.swing_v, piece.tau_s);
    let (e1, e2) = (libm::exp(-x1 / tau), libm::exp(-x2 / tau));
    let line = b * (x2 - x1) + 0.5 * m * (x2 * x2 - x1 * x1);
    let line_squared = b * b * (x2 - x1) + b * m * (x2 * x2 - x1 * x1) + m * m * (x2 * x2 * x2 - x1 * x1 * x1) / 3.0;
    let decay = a * tau * (e1 - e2);
    let decay_squared = 0.5 * a * a * tau * (e1 * e1 - e2 * e2);
    let mixed = 2.0 * b * decay + 2.0 * a * m * tau * ((x1 + tau) * e1 - (x2 + tau) * e2);
    sums.0 += line + decay;
    sums.1 += line_squared + decay_squared + mixed;
    if hum.peak_v != 0.0 {
        add_hum(piece, hum, (from_s, to_s), sums);
    }
}

/// Simpson's rule over at most 1 ms at a time: hum is slow, and the exponential dies in some 10 µs.
fn add_hum(piece: &Piece, hum: &Hum, (from_s, to_s): (f64, f64), sums: &mut (f64, f64)) {
    let steps = libm::ceil((to_s - from_s) / 1e-3).max(1.0) as usize * 2;
    let width = (to_s - from_s) / steps as f64;
    for k in 0..=steps {
        let weight = if k == 0 || k == steps {
            1.0
        } else {
            2.0 + 2.0 * (k % 2) as f64
        } * width
            / 3.0;
        let time_s = from_s + k as f64 * width;
        let added = piece.hum_gain * (hum.at(time_s) - hum.at(piece.start_s));
        let whole = piece.at(time_s, hum);
        sums.0 += weight * added;
        sums.1 += weight * (2.0 * whole - added) * added;
    }
}
