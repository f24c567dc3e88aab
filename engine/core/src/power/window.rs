//! A window of whole cycles that begins and ends between two samples.
//!
//! Sampling is not synchronous with the line, so a sum over samples holds a part of a cycle too much or too little. The
//! window is therefore the rectangle over exactly the whole cycles, smoothed by a raised cosine of [`BUMP`] samples. That is
//! the same as first interpolating the samples with that kernel and then resampling them to a whole number of cycles: the
//! zeros of the rectangle's spectrum, which keep one harmonic out of another (IEC 61000-4-7, 4.4.1), stay where they are, and
//! what sampling folds back is held down by the kernel.

use std::f64::consts::PI;

/// Samples over which an edge of the window is smoothed.
const BUMP: f64 = 32.0;
/// Fewest samples in a cycle.
pub(super) const LEAST_PER_CYCLE: f64 = 20.0;
/// Highest frequency, as a share of the rate, that is told with less than 0.01 % of error by a window.
pub(super) const BAND: f64 = 0.4;
/// Samples whose pointers are worked out together.
const BLOCK: usize = 64;
/// Independent running sums, so that the processor need not wait for the last one.
const LANES: usize = 8;

/// How much each sample of a stretch counts. Times are counted in samples.
#[derive(Debug, Clone)]
pub struct Window {
    first: usize,
    weights: Vec<f64>,
    sum: f64,
}

/// An amplitude with its phase: rms values of cosine and sine towards the middle of the window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pointer {
    pub(super) cosine: f64,
    pub(super) sine: f64,
}

impl Window {
    /// From one moment to another; both edges must lie half a [`BUMP`] inside of the samples.
    pub(super) fn between(start: f64, end: f64) -> Self {
        let first = (start - 0.5 * BUMP).ceil().max(0.0) as usize;
        let last = (end + 0.5 * BUMP).floor() as usize;
        let weight = |index: usize| {
            let at = index as f64;
            step(at - start) - step(at - end)
        };
        Self::of(first, (first..=last).map(weight).collect())
    }

    /// A raised cosine (Hann) about a middle, so long in all.
    pub(super) fn raised_cosine(middle: f64, length: f64) -> Self {
        let first = (middle - 0.5 * length).ceil().max(0.0) as usize;
        let last = (middle + 0.5 * length).floor() as usize;
        let weight = |index: usize| 0.5 + 0.5 * libm::cos(2.0 * PI * (index as f64 - middle) / length);
        Self::of(first, (first..=last).map(weight).collect())
    }

    fn of(first: usize, weights: Vec<f64>) -> Self {
        let sum = weights.iter().sum();
        Self { first, weights, sum }
    }

    /// How many samples the edges take from either end of a capture.
    pub(super) const fn margin() -> f64 {
        0.5 * BUMP
    }

    /// Samples that count, in effect: the noise of a mean falls with the root of it.
    pub fn samples(&self) -> f64 {
        self.sum
    }

    /// Weighted mean of a function of the sample's index.
    pub fn mean(&self, value: impl Fn(usize) -> f64) -> f64 {
        let sum: f64 = (self.first..)
            .zip(&self.weights)
            .map(|(index, weight)| weight * value(index))
            .sum();
        sum / self.sum
    }

    /// Largest magnitude among the samples of which more than half counts.
    pub(super) fn peak(&self, samples: &[f64]) -> f64 {
        (self.first..)
            .zip(&self.weights)
            .filter(|(_, weight)| **weight > 0.5)
            .fold(0.0, |peak, (index, _)| samples[index].abs().max(peak))
    }

    /// The samples as they count, so that several frequencies can be taken out of them.
    pub(super) fn weighted(&self, samples: &[f64]) -> Vec<f64> {
        let stretch = samples[self.first..].iter().zip(&self.weights);
        stretch.map(|(sample, weight)| sample * weight).collect()
    }

    /// Rms pointer of what weighted samples hold at an angle per sample, as seen from sample number `origin`.
    pub(super) fn pointer(&self, weighted: &[f64], omega: f64, origin: f64) -> Pointer {
        let (cosine, sine) = project(weighted, omega);
        let (turn_sine, turn_cosine) = libm::sincos(omega * (self.first as f64 - origin));
        self.scaled((
            cosine * turn_cosine - sine * turn_sine,
            sine * turn_cosine + cosine * turn_sine,
        ))
    }

    /// Sums of cosine and sine as rms values.
    pub(super) fn scaled(&self, (cosine, sine): (f64, f64)) -> Pointer {
        let scale = std::f64::consts::SQRT_2 / self.sum;
        Pointer {
            cosine: scale * cosine,
            sine: scale * sine,
        }
    }
}

impl Pointer {
    pub(super) fn rms(self) -> f64 {
        libm::hypot(self.cosine, self.sine)
    }

    /// Angle of the cosine that it stands for, from −π to π.
    pub(super) fn phase(self) -> f64 {
        libm::atan2(-self.sine, self.cosine)
    }
}

/// The integral of the raised cosine: from 0 to 1 within half a bump about zero.
fn step(at: f64) -> f64 {
    let share = at / BUMP;
    if share <= -0.5 {
        return 0.0;
    }
    if share >= 0.5 {
        return 1.0;
    }
    0.5 + share + libm::sin(2.0 * PI * share) / (2.0 * PI)
}

/// Sums of the values times cosine and sine of the angle that grows by `omega` from one to the next.
pub(super) fn project(values: &[f64], omega: f64) -> (f64, f64) {
    let mut table = [(0.0, 0.0); BLOCK];
    for (index, entry) in table.iter_mut().enumerate() {
        let (sine, cosine) = libm::sincos(omega * index as f64);
        *entry = (cosine, sine);
    }
    let (mut cosines, mut sines) = (0.0, 0.0);
    for (number, block) in values.chunks(BLOCK).enumerate() {
        let (cosine, sine) = in_block(block, &table);
        let (turn_sine, turn_cosine) = libm::sincos(omega * (number * BLOCK) as f64);
        cosines += cosine * turn_cosine - sine * turn_sine;
        sines += sine * turn_cosine + cosine * turn_sine;
    }
    (cosines, sines)
}

fn in_block(block: &[f64], table: &[(f64, f64); BLOCK]) -> (f64, f64) {
    let (mut cosine, mut sine) = ([0.0; LANES], [0.0; LANES]);
    for (values, entries) in block.chunks(LANES).zip(table.chunks(LANES)) {
        for (lane, (value, entry)) in values.iter().zip(entries).enumerate() {
            cosine[lane] += value * entry.0;
            sine[lane] += value * entry.1;
        }
    }
    (cosine.iter().sum(), sine.iter().sum())
}
