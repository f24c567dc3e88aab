//! Power over whole cycles, by the definitions of IEEE 1459-2010 for a single phase (3.1.2, nonsinusoidal).

use super::line::Line;
use super::window::Window;
use crate::pulse::{Estimate, Lack};

/// What is told of one channel over whole cycles, in its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Waveform {
    /// Mean: the direct part.
    pub mean: f64,
    /// Root of the mean square, with all harmonics, interharmonics and the direct part.
    pub rms: f64,
    /// Rms of the fundamental.
    pub fundamental: f64,
    /// Largest magnitude of a sample.
    pub peak: f64,
}

impl Waveform {
    /// Peak over rms (crest factor).
    pub fn crest(&self) -> f64 {
        self.peak / self.rms
    }
}

/// Power over one stretch of whole cycles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Power {
    /// The voltage, in V.
    pub volts: Waveform,
    /// The current, in A.
    pub amps: Waveform,
    /// Active power P: the mean of voltage times current, in W. Positive where the current flows as counted.
    pub active_w: f64,
    /// P₁ = U₁·I₁·cos φ₁ of the fundamental, in W.
    pub fundamental_active_w: f64,
    /// Q₁ = U₁·I₁·sin φ₁ of the fundamental, in var. Positive where the current lags behind the voltage.
    pub fundamental_reactive_var: f64,
    /// Angular frequency of the fundamental, in radians a sample.
    pub angular_frequency: f64,
}

/// What an instrument may add to a channel.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Disturbance {
    /// Relative error of the gain.
    pub gain: f64,
    /// Offset in the channel's unit.
    pub offset: f64,
    /// So many samples later than it happened the channel shows it.
    pub delay: f64,
}

/// The same, the other way.
impl std::ops::Neg for Disturbance {
    type Output = Self;

    fn neg(self) -> Self {
        Self {
            gain: -self.gain,
            offset: -self.offset,
            delay: -self.delay,
        }
    }
}

impl Waveform {
    fn disturbed(&self, by: Disturbance) -> Self {
        let up = 1.0 + by.gain;
        let square = up * up * self.rms * self.rms + 2.0 * up * self.mean * by.offset + by.offset * by.offset;
        Self {
            mean: up * self.mean + by.offset,
            rms: libm::sqrt(square.max(0.0)),
            fundamental: up * self.fundamental,
            peak: up * self.peak + by.offset,
        }
    }
}

impl Power {
    /// What would have been told of the same voltage and current through channels with these errors. A delay turns the current of the
    /// fundamental against its voltage; the little power of the harmonics is left as it was.
    #[must_use]
    pub fn disturbed(&self, volts: Disturbance, amps: Disturbance) -> Self {
        let (u, i) = (1.0 + volts.gain, 1.0 + amps.gain);
        let turn = self.angular_frequency * (amps.delay - volts.delay);
        let (sine, cosine) = (libm::sin(turn), libm::cos(turn));
        let (p, q) = (self.fundamental_active_w, self.fundamental_reactive_var);
        let turned = (p * cosine - q * sine, q * cosine + p * sine);
        Self {
            volts: self.volts.disturbed(volts),
            amps: self.amps.disturbed(amps),
            active_w: u * i * (self.active_w + turned.0 - p)
                + i * volts.offset * self.amps.mean
                + u * amps.offset * self.volts.mean
                + volts.offset * amps.offset,
            fundamental_active_w: u * i * turned.0,
            fundamental_reactive_var: u * i * turned.1,
            angular_frequency: self.angular_frequency,
        }
    }

    /// Apparent power S = U·I, in VA.
    pub fn apparent_va(&self) -> f64 {
        self.volts.rms * self.amps.rms
    }

    /// Non-active power N = √(S² − P²), in var.
    pub fn non_active_var(&self) -> f64 {
        let (s, p) = (self.apparent_va(), self.active_w);
        libm::sqrt(((s - p) * (s + p)).max(0.0))
    }

    /// Power factor PF = P/S.
    pub fn factor(&self) -> f64 {
        self.active_w / self.apparent_va()
    }

    /// Displacement factor: power factor of the fundamental, cos φ₁ = P₁/S₁.
    pub fn displacement(&self) -> f64 {
        self.fundamental_active_w / (self.volts.fundamental * self.amps.fundamental)
    }

    /// Displacement φ₁ in radians from −π to π, positive where the current lags.
    pub fn displacement_angle(&self) -> f64 {
        libm::atan2(self.fundamental_reactive_var, self.fundamental_active_w)
    }

    fn over(window: &Window, volts: &[f64], amps: &[f64], omega: f64) -> Self {
        let origin = 0.0;
        let of = |samples: &[f64]| {
            let pointer = window.pointer(&window.weighted(samples), omega, origin);
            let waveform = Waveform {
                mean: window.mean(|index| samples[index]),
                rms: libm::sqrt(window.mean(|index| samples[index] * samples[index]).max(0.0)),
                fundamental: pointer.rms(),
                peak: window.peak(samples),
            };
            (waveform, pointer)
        };
        let ((volts_wave, u), (amps_wave, i)) = (of(volts), of(amps));
        Self {
            volts: volts_wave,
            amps: amps_wave,
            active_w: window.mean(|index| volts[index] * amps[index]),
            fundamental_active_w: u.cosine * i.cosine + u.sine * i.sine,
            fundamental_reactive_var: u.cosine * i.sine - u.sine * i.cosine,
            angular_frequency: omega,
        }
    }
}

/// Power over all whole cycles of a capture, and over each of them.
#[derive(Debug, Clone)]
pub struct PowerAnalysis {
    whole: Power,
    cycles: Vec<Power>,
    samples: f64,
}

impl PowerAnalysis {
    /// Voltage and current, sampled at the same moments as the voltage that the line was found in. For a direct voltage and
    /// current beside that line, the fundamental is what they hold at its frequency.
    pub fn of(volts: &[f64], amps: &[f64], line: &Line) -> Result<Self, Lack> {
        line.check(volts)?;
        line.check(amps)?;
        let (window, windows) = line.cycles()?;
        let over = |window: &Window| Power::over(window, volts, amps, line.omega());
        Ok(Self {
            whole: over(&window),
            cycles: windows.iter().map(over).collect(),
            samples: window.samples(),
        })
    }

    /// Over all whole cycles.
    pub fn whole(&self) -> &Power {
        &self.whole
    }

    /// How many whole cycles.
    pub fn cycles(&self) -> usize {
        self.cycles.len()
    }

    /// Samples in them.
    pub fn samples(&self) -> f64 {
        self.samples
    }

    /// A value over all cycles. Its standard uncertainty is that of the mean of the cycles (JCGM 100, 4.2.3); noise and what
    /// is no multiple of the line frequency show in it. What the instrument adds is not in it.
    pub fn estimate(&self, take: impl Fn(&Power) -> f64) -> Estimate {
        let each: Vec<f64> = self.cycles.iter().map(&take).collect();
        Estimate {
            value: take(&self.whole),
            standard: standard_of_mean(&each),
        }
    }

    /// Active power of this side over that of another one that was captured with it: the efficiency, where this is the output.
    /// Both are taken over the same whole cycles, and cycle by cycle for the scatter.
    pub fn efficiency(&self, input: &Self) -> Estimate {
        let ratio = |output: &Power, input: &Power| output.active_w / input.active_w;
        let cycles = self.cycles.iter().zip(&input.cycles);
        let each: Vec<f64> = cycles.map(|(output, input)| ratio(output, input)).collect();
        Estimate {
            value: ratio(&self.whole, &input.whole),
            standard: standard_of_mean(&each),
        }
    }
}

/// s/√n; 0 of fewer than two values.
pub(super) fn standard_of_mean(values: &[f64]) -> f64 {
    crate::uncertainty::repeated("", values).map_or(0.0, |(_, term)| term.standard)
}
