//! Levels over a whole capture.

use crate::pulse::Lack;

/// Levels over a whole capture, in the unit of the samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Levels {
    /// Mean.
    pub mean: f64,
    /// Root of the mean square.
    pub rms: f64,
    /// Lowest sample.
    pub lowest: f64,
    /// Highest sample.
    pub highest: f64,
}

impl Levels {
    /// The rms of the same samples, larger by a relative gain and by an offset.
    pub fn disturbed_rms(&self, gain: f64, offset: f64) -> f64 {
        let scale = 1.0 + gain;
        let square = (scale * self.rms).powi(2) + 2.0 * scale * self.mean * offset + offset * offset;
        square.max(0.0).sqrt()
    }

    /// Largest magnitude of a sample.
    pub fn peak(&self) -> f64 {
        self.lowest.abs().max(self.highest.abs())
    }

    /// Highest minus lowest.
    pub fn span(&self) -> f64 {
        self.highest - self.lowest
    }
}

/// Looks at every sample once. NaN and infinities are refused.
pub fn levels(samples: &[f64]) -> Result<Levels, Lack> {
    if samples.is_empty() {
        return Err(Lack::TooFewSamples { have: 0, need: 1 });
    }
    let count = samples.len() as f64;
    let mean = samples.iter().sum::<f64>() / count;
    let square = samples.iter().map(|sample| sample * sample).sum::<f64>() / count;
    if !square.is_finite() {
        return Err(Lack::NotANumber);
    }
    Ok(Levels {
        mean,
        rms: square.sqrt(),
        lowest: samples.iter().copied().fold(f64::INFINITY, f64::min),
        highest: samples.iter().copied().fold(f64::NEG_INFINITY, f64::max),
    })
}
