//! Many samples in few, for many low frequencies of one stretch.
//!
//! At a rate far above the frequencies that are wanted, the pointer turns little within a block of samples. There it is the first
//! terms of its series about the block's middle, so the samples of a block are needed only as the moments that go with the
//! terms. No sample is left out, and what lies between the wanted frequencies and the rate is not folded down.

use super::window::{Pointer, Window, project};

/// Largest angle from the middle of a block to its ends, in radians.
const HALF_TURN: f64 = 0.5;
/// Terms of the series: what is left out is below 0.5⁸/8!, one part in ten millions.
const TERMS: usize = 8;

/// The weighted samples of a window.
pub(super) enum Condensed<'w> {
    /// As they are.
    Samples(&'w Window, Vec<f64>),
    /// Moments of each block about its middle, by their order; and how many samples a block has.
    Moments(&'w Window, [Vec<f64>; TERMS], usize),
}

impl<'w> Condensed<'w> {
    /// The samples of a window as far as they are needed up to an angle per sample.
    pub(super) fn new(window: &'w Window, samples: &[f64], highest: f64) -> Self {
        let weighted = window.weighted(samples);
        let block = (2.0 * HALF_TURN / highest) as usize;
        if block <= TERMS {
            return Self::Samples(window, weighted);
        }
        let mut moments: [Vec<f64>; TERMS] = Default::default();
        for samples in weighted.chunks(block) {
            let of_block = moments_of(samples, middle(block));
            for (all, one) in moments.iter_mut().zip(of_block) {
                all.push(one);
            }
        }
        Self::Moments(window, moments, block)
    }

    /// Rms pointer at an angle per sample, as seen from the first sample of the window.
    pub(super) fn pointer(&self, omega: f64) -> Pointer {
        match self {
            Self::Samples(window, weighted) => window.scaled(project(weighted, omega)),
            Self::Moments(window, moments, block) => window.scaled(series(moments, *block, omega)),
        }
    }
}

fn middle(block: usize) -> f64 {
    0.5 * (block - 1) as f64
}

fn moments_of(samples: &[f64], middle: f64) -> [f64; TERMS] {
    let mut moments = [0.0; TERMS];
    for (index, sample) in samples.iter().enumerate() {
        let from_middle = index as f64 - middle;
        let mut power = *sample;
        for moment in &mut moments {
            *moment += power;
            power *= from_middle;
        }
    }
    moments
}

/// Sums of cosine and sine: exp(jωn) is exp(jω·middle) times the sum of (jω·(n − middle))ᵏ/k!.
fn series(moments: &[Vec<f64>; TERMS], block: usize, omega: f64) -> (f64, f64) {
    let (mut cosines, mut sines) = (0.0, 0.0);
    // The factor (jω)ᵏ/k!.
    let mut factor = (1.0, 0.0);
    for (order, moments) in moments.iter().enumerate() {
        let (cosine, sine) = project(moments, omega * block as f64);
        cosines += factor.0 * cosine - factor.1 * sine;
        sines += factor.0 * sine + factor.1 * cosine;
        let next = omega / (order + 1) as f64;
        factor = (-factor.1 * next, factor.0 * next);
    }
    let (turn_sine, turn_cosine) = libm::sincos(omega * middle(block));
    (
        cosines * turn_cosine - sines * turn_sine,
        cosines * turn_sine + sines * turn_cosine,
    )
}
