//! The measuring model: shown = true·(1+g) + o + n, rounded to the resolution, clipped to the range.
//!
//! g and o are drawn once for each instrument and function from what its driver file states, and stay; so a statement of
//! uncertainty made from the driver file is honest, and two instruments of one model differ.

use super::noise::{Noise, Reading};

/// What an instrument answers where the value is beyond its range (SCPI-99 volume 1, 7.2.1.4).
pub(crate) const OVERLOAD: f64 = 9.9e37;
/// What an instrument answers where there is no number (SCPI-99 volume 1, 7.2.1.5).
pub(crate) const NOT_A_NUMBER: f64 = 9.91e37;

/// Part of the printed limit that the fixed offset may take; the noise takes at most the rest but one twentieth.
const OFFSET_SHARE: f64 = 0.85;
/// Part of the printed limit that the noise may take at its most.
const NOISE_SHARE: f64 = 0.10;
/// Part of the printed gain limit that is used: makers keep a margin.
const GAIN_SHARE: f64 = 0.95;

/// Limits of error as the driver file states them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Accuracy {
    /// Relative to the reading.
    pub(crate) of_reading: f64,
    /// In the unit of the reading: the part of the range, and what is fixed.
    pub(crate) constant: f64,
    /// In the unit of the reading.
    pub(crate) resolution: f64,
}

impl Accuracy {
    /// What the instrument shows for a true value.
    pub(crate) fn shown(self, truth: f64, function: &str, noise: &Noise, reading: Reading) -> f64 {
        let gain = noise.property(&format!("{function} gain")) * self.of_reading * GAIN_SHARE;
        let offset = noise.property(&format!("{function} offset")) * self.constant * OFFSET_SHARE;
        let wander = reading.triangular(0) * self.constant * NOISE_SHARE;
        rounded(truth * (1.0 + gain) + offset + wander, self.resolution)
    }
}

/// To the nearest multiple of the resolution; never minus zero.
pub(crate) fn rounded(value: f64, resolution: f64) -> f64 {
    libm::round(value / resolution) * resolution + 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_stay_within_the_limits_and_use_them() {
        let accuracy = Accuracy {
            of_reading: 1e-3,
            constant: 0.05,
            resolution: 1e-3,
        };
        let worst = (0..500)
            .map(|seed| {
                let mut noise = Noise::new(seed, "x");
                let reading = noise.next_reading();
                (accuracy.shown(100.0, "f", &noise, reading) - 100.0).abs()
            })
            .fold(0.0, f64::max);
        assert!(worst < 0.1 + 0.05 + 0.0005, "{worst}");
        assert!(
            worst > 0.1,
            "errors are drawn over the whole statement, not near its middle: {worst}"
        );
    }
}
