//! The line of a capture: its frequency, and windows of whole cycles of it.

use super::lack::LineLack;
use super::window::{LEAST_PER_CYCLE, Window};
use crate::pulse::Lack;
use crate::signal::{crossings, levels};
use std::f64::consts::PI;

/// Share of the rms by which the voltage must have been below its mean before a crossing counts again.
const HYSTERESIS: f64 = 0.5;
/// Largest difference of one cycle from the mean cycle.
const UNEVEN: f64 = 0.05;
/// Fewest whole cycles.
const FEWEST: usize = 2;
/// Whole cycles from which the frequency is made finer by two angles, and most cycles that one angle is taken over.
const FINER: (f64, f64) = (4.0, 10.0);
/// How often it is made finer; the error falls by a factor of more than 100 each time.
const ROUNDS: usize = 3;

/// The steady line of a captured voltage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Samples in a cycle.
    period: f64,
    interval_s: f64,
    /// Samples in the capture.
    samples: usize,
}

impl Line {
    /// Finds the line in a voltage.
    ///
    /// The period is first the mean distance of the interpolated upward crossings of the voltage's mean; noise and notches
    /// smaller than half the rms make no crossing. From four cycles on it is made finer by the angle that the fundamental
    /// turns between the first and the last half of the capture (at most ten cycles each, weighted by a raised cosine), so
    /// that noise and harmonics at the crossings do not count. No line is found where fewer than two whole cycles are there,
    /// where one cycle or the fundamental differs by more than 5 % from the mean cycle, or where a cycle has fewer than 20
    /// samples: nothing is then taken over a part of a cycle instead.
    pub fn of(volts: &[f64], interval_s: f64) -> Result<Self, Lack> {
        if !(interval_s > 0.0 && interval_s.is_finite()) {
            return Err(Lack::NotPositive {
                what: "the time between samples",
                value: interval_s,
            });
        }
        let coarse = coarse_period(volts, interval_s)?;
        let period = if volts.len() as f64 / coarse >= FINER.0 {
            finer_period(volts, coarse)
        } else {
            coarse
        };
        // Where crossings and fundamental disagree, the voltage is no line.
        let agrees = (period / coarse - 1.0).abs() <= UNEVEN;
        if !agrees {
            let lack = LineLack::Unsteady {
                shortest_s: period.min(coarse) * interval_s,
                longest_s: period.max(coarse) * interval_s,
            };
            return Err(lack.into());
        }
        Ok(Self {
            period,
            interval_s,
            samples: volts.len(),
        })
    }

    /// The lowest rate at which a line of this frequency is told.
    pub fn least_rate_hz(hz: f64) -> f64 {
        LEAST_PER_CYCLE * hz
    }

    /// The shortest capture in which two whole cycles are sure to be found.
    pub fn least_length_s(hz: f64, rate_hz: f64) -> f64 {
        (FEWEST + 1) as f64 / hz + 2.0 * Window::margin() / rate_hz
    }

    /// The frequency in Hz.
    pub fn frequency_hz(&self) -> f64 {
        1.0 / (self.period * self.interval_s)
    }

    /// Angle by which the fundamental turns in one sample, in radians.
    pub(super) fn omega(&self) -> f64 {
        2.0 * PI / self.period
    }

    /// Samples a second.
    pub(super) fn rate_hz(&self) -> f64 {
        1.0 / self.interval_s
    }

    /// As many whole cycles as the capture holds, about its middle: each for itself, and all together.
    pub fn cycles(&self) -> Result<(Window, Vec<Window>), Lack> {
        let count = self.room() as usize;
        let windows = self.windows(1)?;
        if count < FEWEST {
            return Err(too_few(count, FEWEST));
        }
        let (start, end) = self.stretch(count);
        Ok((Window::between(start, end), windows))
    }

    /// As many windows of so many cycles as the capture holds, end to end about its middle.
    pub(super) fn windows(&self, cycles: usize) -> Result<Vec<Window>, Lack> {
        let room = self.room();
        let count = room as usize / cycles;
        if count == 0 {
            return Err(too_few(room as usize, cycles));
        }
        let (start, _) = self.stretch(count * cycles);
        let length = cycles as f64 * self.period;
        let edge = |number: usize| start + number as f64 * length;
        Ok((0..count)
            .map(|number| Window::between(edge(number), edge(number + 1)))
            .collect())
    }

    /// Whether a channel has as many samples as the voltage, or why it cannot be taken together with it.
    pub(super) fn check(&self, samples: &[f64]) -> Result<(), Lack> {
        if samples.len() != self.samples {
            let lack = LineLack::Unequal {
                have: samples.len(),
                need: self.samples,
            };
            return Err(lack.into());
        }
        levels(samples).map(drop)
    }

    /// Cycles for which there is room.
    fn room(&self) -> f64 {
        // A window that ends exactly on the last sample may not be lost to rounding.
        ((self.samples as f64 - 1.0 - 2.0 * Window::margin()) / self.period + 1e-9).max(0.0)
    }

    fn stretch(&self, cycles: usize) -> (f64, f64) {
        let length = cycles as f64 * self.period;
        let start = 0.5 * (self.samples as f64 - 1.0 - length);
        (start, start + length)
    }
}

fn too_few(have: usize, need: usize) -> Lack {
    LineLack::TooFewCycles { have, need }.into()
}

/// Samples in a cycle, by upward crossings.
fn coarse_period(volts: &[f64], interval_s: f64) -> Result<f64, Lack> {
    let all = levels(volts)?;
    let alternating = libm::sqrt((all.rms * all.rms - all.mean * all.mean).max(0.0));
    // What is left of a steady voltage are the rounding errors of its own sum.
    if alternating <= 1e-9 * all.rms {
        return Err(Lack::Steady {
            mean: all.mean,
            span: all.span(),
        });
    }
    let moments = crossings(volts, all.mean, true, HYSTERESIS * alternating);
    if moments.len() <= FEWEST {
        return Err(too_few(moments.len().saturating_sub(1), FEWEST));
    }
    let mean = (moments[moments.len() - 1] - moments[0]) / (moments.len() - 1) as f64;
    let lengths = moments.windows(2).map(|pair| pair[1] - pair[0]);
    let (shortest, longest) = lengths.fold((f64::INFINITY, 0.0_f64), |(low, high), length| {
        (low.min(length), high.max(length))
    });
    if longest - mean > UNEVEN * mean || mean - shortest > UNEVEN * mean {
        let lack = LineLack::Unsteady {
            shortest_s: shortest * interval_s,
            longest_s: longest * interval_s,
        };
        return Err(lack.into());
    }
    if mean < LEAST_PER_CYCLE {
        let lack = LineLack::TooSlow {
            have_hz: 1.0 / interval_s,
            need_hz: LEAST_PER_CYCLE / (mean * interval_s),
        };
        return Err(lack.into());
    }
    Ok(mean)
}

/// The period at which the fundamental has turned as far as its angles at both ends say.
fn finer_period(volts: &[f64], coarse: f64) -> f64 {
    let cycles = (0.5 * volts.len() as f64 / coarse).floor().min(FINER.1);
    let mut omega = 2.0 * PI / coarse;
    for _ in 0..ROUNDS {
        let length = cycles * 2.0 * PI / omega;
        let middles = (0.5 * length, volts.len() as f64 - 1.0 - 0.5 * length);
        let angle = |middle: f64| {
            let window = Window::raised_cosine(middle, length);
            window.pointer(&window.weighted(volts), omega, middle).phase()
        };
        let apart = middles.1 - middles.0;
        let turned = angle(middles.1) - angle(middles.0) - omega * apart;
        omega += ((turned + PI).rem_euclid(2.0 * PI) - PI) / apart;
    }
    2.0 * PI / omega
}
