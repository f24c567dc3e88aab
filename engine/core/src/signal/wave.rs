//! The settled sine of a capture: its angle at a moment, and how much of it stands at each sample.
//!
//! A contact in an AC circuit cannot be watched by a level: the wave passes zero a hundred times a second. So the wave
//! that stands once the contact is closed (or before it opens) is fitted, carried on through the rest of the capture, and
//! each sample is compared with it. Around a zero crossing nothing can be told: those samples are left out.

use super::event::Event;
use crate::pulse::Lack;
use std::f64::consts::PI;

/// Share of the highest envelope from which the wave stands.
const STANDS: f64 = 0.9;
/// Periods that are fitted, at most and at least.
const PERIODS: (f64, f64) = (10.0, 2.0);
/// Share of the peak below which a sample of the wave tells nothing about the contact.
const BLIND: f64 = 0.2;
/// How long a contact is seen on one side of what a zero crossing hides, against how long it is hidden: a rebound takes up to twice as
/// long as the touch before it, and a touch up to twice as long as the rebound before or after it (common practice, no published
/// figure). So a contact that a zero crossing hides once shows again within that time after it, or showed before.
const SEEN: f64 = 2.0;
/// After so many turns of a rotating pointer it is set anew from the exact function.
const EXACT_EVERY: usize = 256;
/// Largest part of a settled wave's power that is not its sine.
const STRANGE: f64 = 0.1;

/// A sine with its offset: `offset + sine·sin(ω·n) + cosine·cos(ω·n)` at sample n.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wave {
    omega: f64,
    sine: f64,
    cosine: f64,
    offset: f64,
}

impl Wave {
    /// Fits the longest stretch in which the envelope stands; nearest to its start where the wave comes, else nearest to
    /// its end, so that the sine is carried on as short as can be.
    pub(super) fn new(samples: &[f64], envelope: &[f64], interval_s: f64, mains_hz: f64) -> Result<Self, Lack> {
        let lack = Lack::NoWave { mains_hz };
        let period = 1.0 / (mains_hz * interval_s);
        let (start, end) = standing(envelope).ok_or(lack.clone())?;
        let comes = start > 0;
        // The window of an envelope reaches over half a period: that much at either end may not be settled yet.
        let margin = (0.5 * period).ceil() as usize;
        let (start, end) = (
            start + margin,
            (end + envelope_window(samples, envelope)).saturating_sub(margin),
        );
        let periods = (end.saturating_sub(start) as f64 / period).floor().min(PERIODS.0);
        if periods < PERIODS.1 {
            return Err(lack);
        }
        let length = (periods * period).round() as usize;
        let start = if comes { start } else { end - length };
        let wave = Self::fitted(&samples[start..start + length], start, 2.0 * PI / period);
        if wave.is_strange(&samples[start..start + length], start) {
            return Err(lack);
        }
        Ok(wave)
    }

    /// Twice: the two halves tell the true frequency by their angles, the whole tells the sine.
    fn fitted(samples: &[f64], start: usize, omega: f64) -> Self {
        let half = samples.len() / 2;
        let first = Self::at_frequency(&samples[..half], start, omega);
        let second = Self::at_frequency(&samples[half..], start + half, omega);
        let turned = (second.phase() - first.phase() + PI).rem_euclid(2.0 * PI) - PI;
        Self::at_frequency(samples, start, omega + turned / (samples.len() as f64 / 2.0))
    }

    /// Least squares of sine and cosine about the mean.
    fn at_frequency(samples: &[f64], start: usize, omega: f64) -> Self {
        let offset = samples.iter().sum::<f64>() / samples.len() as f64;
        let (mut ss, mut sc, mut cc, mut xs, mut xc) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (index, sample) in samples.iter().enumerate() {
            let (sin, cos) = libm::sincos(omega * (start + index) as f64);
            let x = sample - offset;
            ss += sin * sin;
            sc += sin * cos;
            cc += cos * cos;
            xs += x * sin;
            xc += x * cos;
        }
        let determinant = ss * cc - sc * sc;
        Self {
            omega,
            sine: (xs * cc - xc * sc) / determinant,
            cosine: (xc * ss - xs * sc) / determinant,
            offset,
        }
    }

    fn is_strange(&self, samples: &[f64], start: usize) -> bool {
        let rest: f64 = (start..)
            .zip(samples)
            .map(|(index, sample)| (sample - self.offset - self.swing(index as f64)).powi(2))
            .sum();
        let power = 0.5 * self.peak() * self.peak() * samples.len() as f64;
        !(power > 0.0 && rest <= STRANGE * power)
    }

    fn phase(&self) -> f64 {
        libm::atan2(self.cosine, self.sine)
    }

    fn peak(&self) -> f64 {
        libm::hypot(self.sine, self.cosine)
    }

    fn swing(&self, at: f64) -> f64 {
        let (sin, cos) = libm::sincos(self.omega * at);
        self.sine * sin + self.cosine * cos
    }

    /// The angle of the wave at a place counted in samples, in radians from −π to π; 0 where it rises through zero.
    pub fn angle_at(&self, at: f64) -> f64 {
        (self.omega * at + self.phase() + PI).rem_euclid(2.0 * PI) - PI
    }

    /// Angle by which the wave turns in one sample, in radians.
    pub fn turn(&self) -> f64 {
        self.omega
    }

    /// Each sample that can tell, with the share of the wave that stands there.
    pub(super) fn shares<'a>(&self, samples: &'a [f64]) -> impl Iterator<Item = (usize, f64)> + use<'a> {
        let (wave, blind) = (*self, BLIND * self.peak());
        let step = libm::sincos(self.omega);
        let mut pointer = (0.0, 0.0);
        samples.iter().enumerate().filter_map(move |(index, sample)| {
            pointer = if index % EXACT_EVERY == 0 {
                libm::sincos(wave.omega * index as f64)
            } else {
                turned(pointer, step)
            };
            let whole = wave.sine * pointer.0 + wave.cosine * pointer.1;
            (whole.abs() >= blind).then(|| (index, (sample - wave.offset) / whole))
        })
    }

    /// When the share passes a level: anywhere between the last sample before and the first one beyond. Where the contact was
    /// seen on one side only shortly between a zero crossing and the event, it may have been beyond within the crossing too.
    pub(super) fn events(&self, samples: &[f64], interval_s: f64, (level, rises): (f64, bool)) -> Vec<Event> {
        let beyond = |share: f64| if rises { share >= level } else { share <= level };
        let mut found: Vec<Event> = Vec::new();
        let mut before: Option<(usize, f64)> = None;
        // The last zero crossing: its last sample before it, and the first one after it.
        let mut crossing: Option<(usize, usize)> = None;
        // The first sample behind the latest event.
        let mut behind: Option<usize> = None;
        for (index, share) in self.shares(samples) {
            let Some((last, was)) = before.replace((index, share)) else {
                continue;
            };
            if index > last + 1 {
                let latest = behind.take().filter(|behind| last - behind <= reach(index - last));
                if let Some(event) = latest.and_then(|_| found.last_mut()) {
                    event.hidden_after_s = index as f64 * interval_s - event.at_s;
                }
            }
            if !beyond(was) && beyond(share) {
                let mut event = Event::between(last as f64 * interval_s, index as f64 * interval_s);
                if let Some((from, _)) = crossing.filter(|(from, to)| last - to <= reach(to - from)) {
                    event.hidden_before_s = event.at_s - from as f64 * interval_s;
                }
                found.push(event);
                behind = Some(index);
            }
            if index > last + 1 {
                crossing = Some((last, index));
            }
        }
        found
    }
}

/// How many samples a contact that was hidden for so many of them may be seen on one side of the level before it moves again.
fn reach(hidden: usize) -> usize {
    (hidden as f64 * SEEN) as usize
}

/// The most that [`Event::hidden_s`] can come to.
pub fn hidden_by_crossing_s(mains_hz: f64, interval_s: f64) -> f64 {
    let hidden_s = libm::asin(BLIND) / (PI * mains_hz) + 2.0 * interval_s;
    hidden_s * (1.0 + SEEN) + 0.5 * interval_s
}

/// Sine and cosine of the sum of two angles.
fn turned((sin, cos): (f64, f64), (step_sin, step_cos): (f64, f64)) -> (f64, f64) {
    (sin * step_cos + cos * step_sin, cos * step_cos - sin * step_sin)
}

/// The longest run of an envelope that stands: first position, and the one behind the last.
fn standing(envelope: &[f64]) -> Option<(usize, usize)> {
    let top = envelope.iter().copied().fold(0.0, f64::max);
    let mut longest: Option<(usize, usize)> = None;
    let mut start = None;
    for (position, value) in envelope.iter().copied().chain([f64::NEG_INFINITY]).enumerate() {
        match (value >= STANDS * top, start) {
            (true, None) => start = Some(position),
            (false, Some(from)) => {
                if longest.is_none_or(|(a, b)| position - from > b - a) {
                    longest = Some((from, position));
                }
                start = None;
            }
            _ => {}
        }
    }
    longest
}

/// Samples of one position of the envelope, beyond the first.
fn envelope_window(samples: &[f64], envelope: &[f64]) -> usize {
    samples.len() - envelope.len()
}
