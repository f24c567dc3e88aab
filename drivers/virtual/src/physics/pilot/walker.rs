//! The pilot's waveform, piece by piece: each piece is a straight line plus one decaying exponential.
//!
//! Source: facts of the pilot circuit, section 6 (two exponentials), here with the source's ramp added.

use super::super::random::{Stream, normal};
use super::circuit::Circuit;

/// PWM: where its periods begin and how long each is high.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Pwm {
    /// Start of period 0, s.
    pub(in super::super) epoch_s: f64,
    /// Length of a period, s.
    pub(in super::super) period_s: f64,
    /// High time as the timer is set, s.
    pub(in super::super) high_s: f64,
    /// Standard deviation of the high time, s.
    pub(in super::super) jitter_s: f64,
    /// Seed of the item.
    pub(in super::super) seed: u64,
}

/// What the source does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) enum Drive {
    /// Stays at this many volts.
    Steady(f64),
    /// Switches between the rails.
    Pwm(Pwm),
}

/// Mains hum added to the source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Hum {
    /// Peak, V.
    pub(in super::super) peak_v: f64,
    /// Angular frequency, 1/s.
    pub(in super::super) omega: f64,
}

/// A stretch of time in which neither drive nor circuit changes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Segment {
    /// Start, s.
    pub(in super::super) start_s: f64,
    /// Pilot at the start, V.
    pub(in super::super) pilot_v: f64,
    /// Source at the start, V.
    pub(in super::super) source_v: f64,
    /// What the source does.
    pub(in super::super) drive: Drive,
    /// The circuit.
    pub(in super::super) circuit: Circuit,
    /// High and low rail, V.
    pub(in super::super) rails_v: (f64, f64),
    /// Speed of the source's ramps, V/s.
    pub(in super::super) slew: f64,
    /// Hum on the source.
    pub(in super::super) hum: Hum,
}

/// v(t) = base + slope·x + swing·e^(−x/τ) + gain·(hum(t) − hum(start)), x = t − start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Piece {
    pub(super) start_s: f64,
    pub(super) end_s: f64,
    pub(super) base_v: f64,
    pub(super) slope: f64,
    pub(super) swing_v: f64,
    pub(super) tau_s: f64,
    pub(super) hum_gain: f64,
    /// Source at the end of the piece, V.
    pub(super) source_end_v: f64,
    /// Slope of the source, V/s.
    source_slope: f64,
}

/// Steps through the pieces of one segment.
#[derive(Debug)]
pub(super) struct Walker<'a> {
    segment: &'a Segment,
    time_s: f64,
    pilot_v: f64,
    source_v: f64,
    above_knee: bool,
    period: u64,
    high: bool,
    target_v: f64,
    change_s: f64,
}

impl Pwm {
    /// How long this period is high, s.
    pub(in super::super) fn period_high_s(&self, period: u64) -> f64 {
        self.fall_s(period) - self.rise_s(period)
    }

    /// The number of the period that runs then.
    pub(in super::super) fn period_of(&self, time_s: f64) -> u64 {
        let count = libm::floor((time_s - self.epoch_s) / self.period_s);
        if count > 0.0 { count as u64 } else { 0 }
    }

    fn rise_s(&self, period: u64) -> f64 {
        self.epoch_s + period as f64 * self.period_s
    }

    fn fall_s(&self, period: u64) -> f64 {
        let jitter_s = if self.jitter_s > 0.0 {
            self.jitter_s * normal(self.seed, Stream::Jitter, self.epoch_s.to_bits(), period)
        } else {
            0.0
        };
        self.rise_s(period) + (self.high_s + jitter_s).clamp(0.0, self.period_s)
    }
}

impl Hum {
    pub(in super::super) fn at(&self, time_s: f64) -> f64 {
        if self.peak_v == 0.0 {
            return 0.0;
        }
        self.peak_v * libm::sin(self.omega * time_s)
    }
}

impl Piece {
    pub(super) fn at(&self, time_s: f64, hum: &Hum) -> f64 {
        let x = time_s - self.start_s;
        let plain = self.base_v + self.slope * x + self.swing_v * libm::exp(-x / self.tau_s);
        if hum.peak_v == 0.0 {
            return plain;
        }
        plain + self.hum_gain * (hum.at(time_s) - hum.at(self.start_s))
    }

    pub(super) fn source_at(&self, time_s: f64) -> f64 {
        if self.source_slope == 0.0 {
            return self.source_end_v;
        }
        self.source_end_v - self.source_slope * (self.end_s - time_s)
    }

    /// When the piece crosses `level_v`, which lies between its ends. Newton's method inside a shrinking bracket.
    pub(super) fn crossing_s(&self, level_v: f64) -> f64 {
        if self.slope == 0.0 {
            let ratio = self.swing_v / (level_v - self.base_v);
            return self.start_s + self.tau_s * libm::log(ratio.max(1.0));
        }
        let (mut low, mut high) = (0.0, self.end_s - self.start_s);
        let miss = |x: f64| self.base_v + self.slope * x + self.swing_v * libm::exp(-x / self.tau_s) - level_v;
        let rising = miss(high) > 0.0;
        let mut x = 0.5 * high;
        for _ in 0..60 {
            let m = miss(x);
            if (m > 0.0) == rising {
                high = x;
            } else {
                low = x;
            }
            let speed = self.slope - self.swing_v / self.tau_s * libm::exp(-x / self.tau_s);
            let newton = x - m / speed;
            let next = if newton > low && newton < high {
                newton
            } else {
                0.5 * (low + high)
            };
            if libm::fabs(next - x) < 1e-15 {
                return self.start_s + next;
            }
            x = next;
        }
        self.start_s + x
    }
}

impl<'a> Walker<'a> {
    /// A walker that has not yet passed `time_s`: at the segment's start, or a whole period before `time_s`, when
    /// everything that came before has died away.
    pub(super) fn seek(segment: &'a Segment, time_s: f64) -> Self {
        let mut walker = Self {
            segment,
            time_s: segment.start_s,
            pilot_v: segment.pilot_v,
            source_v: segment.source_v,
            above_knee: segment.pilot_v > segment.circuit.knee_v,
            period: 0,
            high: false,
            target_v: 0.0,
            change_s: f64::INFINITY,
        };
        match segment.drive {
            Drive::Steady(level_v) => walker.target_v = level_v,
            Drive::Pwm(pwm) => walker.seek_pwm(&pwm, time_s),
        }
        walker
    }

    fn seek_pwm(&mut self, pwm: &Pwm, time_s: f64) {
        let first = pwm.period_of(self.time_s);
        let wanted = pwm.period_of(time_s);
        if wanted >= first + 4 {
            self.period = wanted - 2;
            self.time_s = pwm.rise_s(self.period);
            self.source_v = self.segment.rails_v.1;
            self.pilot_v = self
                .segment
                .circuit
                .level(self.source_v + self.segment.hum.at(self.time_s));
            self.above_knee = false;
        } else {
            self.period = first;
        }
        self.aim(pwm, self.time_s < pwm.fall_s(self.period));
    }

    /// Aims at a rail and knows until when.
    fn aim(&mut self, pwm: &Pwm, high: bool) {
        let (high_v, low_v) = self.segment.rails_v;
        self.high = high;
        (self.target_v, self.change_s) = if high {
            (high_v, pwm.fall_s(self.period))
        } else {
            (low_v, pwm.rise_s(self.period + 1))
        };
    }

    /// How far ahead a reader may jump with another `seek` instead of walking, s.
    pub(super) fn worth_seeking_s(segment: &Segment) -> f64 {
        match segment.drive {
            Drive::Steady(_) => f64::INFINITY,
            Drive::Pwm(pwm) => 6.0 * pwm.period_s,
        }
    }

    fn turn(&mut self) {
        let Drive::Pwm(pwm) = self.segment.drive else { return };
        if !self.high {
            self.period += 1;
        }
        self.aim(&pwm, !self.high);
    }

    /// The next piece; the last one of a steady drive has no end.
    pub(super) fn next_piece(&mut self) -> Piece {
        while self.time_s >= self.change_s {
            self.turn();
        }
        let mut piece = self.piece_without_knee();
        self.stop_at_knee(&mut piece);
        self.source_v = piece.source_end_v;
        self.time_s = piece.end_s;
        piece
    }

    fn piece_without_knee(&self) -> Piece {
        let hum = &self.segment.hum;
        let side = *self.segment.circuit.side_of(self.above_knee);
        let gap_v = self.target_v - self.source_v;
        let ramp_end_s = self.time_s + libm::fabs(gap_v) / self.segment.slew;
        let ramps = gap_v != 0.0 && ramp_end_s > self.time_s;
        let (source_slope, end_s, source_end_v) = if !ramps {
            (0.0, self.change_s, self.target_v)
        } else if ramp_end_s <= self.change_s {
            (libm::copysign(self.segment.slew, gap_v), ramp_end_s, self.target_v)
        } else {
            let slope = libm::copysign(self.segment.slew, gap_v);
            (
                slope,
                self.change_s,
                self.source_v + slope * (self.change_s - self.time_s),
            )
        };
        let start_v = if ramps { self.source_v } else { self.target_v };
        let base_v = side.gain * (start_v + hum.at(self.time_s) - source_slope * side.tau_s) + side.offset_v;
        Piece {
            start_s: self.time_s,
            end_s,
            base_v,
            slope: side.gain * source_slope,
            swing_v: self.pilot_v - base_v,
            tau_s: side.tau_s,
            hum_gain: side.gain,
            source_end_v,
            source_slope,
        }
    }

    fn stop_at_knee(&mut self, piece: &mut Piece) {
        let knee_v = self.segment.circuit.knee_v;
        let end_v = if piece.end_s.is_finite() {
            piece.at(piece.end_s, &self.segment.hum)
        } else {
            piece.base_v
        };
        self.pilot_v = end_v;
        let crosses = if self.above_knee {
            end_v < knee_v
        } else {
            end_v > knee_v
        };
        if !crosses {
            return;
        }
        let at_s = piece.crossing_s(knee_v);
        if at_s < piece.end_s {
            piece.source_end_v = piece.source_at(at_s);
            piece.end_s = at_s;
            self.pilot_v = knee_v;
        }
        self.above_knee = !self.above_knee;
    }
}
