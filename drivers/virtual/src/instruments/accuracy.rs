//! The measuring model: shown = true·(1+g) + o + n, rounded to the resolution, clipped to the range.
//!
//! g and o are drawn once for each instrument and function from what its driver file states: a part that the adjustment
//! left, a drift with the time since, and a part for each kelvin that the room is too warm or too cold. So a statement of
//! uncertainty made from the driver file is honest for a year in its room, and two instruments of one model differ.

use super::noise::{Noise, Reading};

/// What an instrument answers where the value is beyond its range (SCPI-99 volume 1, 7.2.1.4).
pub(crate) const OVERLOAD: f64 = 9.9e37;
/// What an instrument answers where there is no number (SCPI-99 volume 1, 7.2.1.5).
pub(crate) const NOT_A_NUMBER: f64 = 9.91e37;

/// Part of the printed limit that the fixed offset may take; the noise takes at most the rest but one twentieth.
const OFFSET_SHARE: f64 = 0.90;
/// Part of the printed limit that the noise may take at its most.
const NOISE_SHARE: f64 = 0.10;
/// Part of a printed limit that the adjustment may leave.
const LEFT_SHARE: f64 = 0.75;
/// Part of a printed limit that a year of drift may take. With the part before, makers keep a margin of one twentieth.
const YEAR_SHARE: f64 = 0.20;
/// Part of a printed limit that is added for each kelvin outside of the room that the limit is printed for.
const KELVIN_SHARE: f64 = 0.10;

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

/// What has become of an instrument since it was adjusted, and how long it looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Since {
    /// Years since the adjustment.
    pub(crate) years: f64,
    /// How far the room lies outside of the band that the limits are printed for, K.
    pub(crate) outside_k: f64,
    /// Noise against that of the averaging time that the limits are printed for.
    pub(crate) noise: f64,
}

impl Default for Since {
    /// In the middle of its year.
    fn default() -> Self {
        Self {
            years: 0.5,
            outside_k: 0.0,
            noise: 1.0,
        }
    }
}

impl Since {
    /// The part of a printed limit that a property of the instrument takes, in −1…1 within its year and its room.
    fn share(self, property: &str, noise: &Noise) -> f64 {
        let of = |what: &str| noise.property(&format!("{property}{what}"));
        let left = of("") * LEFT_SHARE + of(" drift") * YEAR_SHARE * self.years;
        if self.outside_k == 0.0 {
            left
        } else {
            left + of(" by temperature") * KELVIN_SHARE * self.outside_k
        }
    }
}

impl Accuracy {
    /// What the instrument shows for a true value.
    pub(crate) fn shown(self, truth: f64, function: &str, noise: &Noise, reading: Reading) -> f64 {
        self.shown_since(truth, function, noise, reading, Since::default())
    }

    /// The next reading of an instrument.
    pub(crate) fn next_shown(self, truth: f64, function: &str, noise: &mut Noise) -> f64 {
        let reading = noise.next_reading();
        self.shown(truth, function, noise, reading)
    }

    /// The same, for what has become of it.
    pub(crate) fn shown_since(self, truth: f64, function: &str, noise: &Noise, reading: Reading, since: Since) -> f64 {
        let gain = since.share(&format!("{function} gain"), noise) * self.of_reading;
        let offset = since.share(&format!("{function} offset"), noise) * self.constant * OFFSET_SHARE;
        let wander = reading.triangular(0) * self.constant * NOISE_SHARE * since.noise;
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

    const ACCURACY: Accuracy = Accuracy {
        of_reading: 1e-3,
        constant: 0.05,
        resolution: 1e-3,
    };

    /// The largest error at 100 over 500 instruments; 0.15 is printed, and half a step besides.
    fn worst(since: Since) -> f64 {
        (0..500)
            .map(|seed| {
                let mut noise = Noise::new(seed, "x");
                let reading = noise.next_reading();
                (ACCURACY.shown_since(100.0, "f", &noise, reading, since) - 100.0).abs()
            })
            .fold(0.0, f64::max)
    }

    fn since(years: f64, outside_k: f64) -> Since {
        Since {
            years,
            outside_k,
            noise: 1.0,
        }
    }

    #[test]
    fn errors_stay_within_the_limits_for_a_year_and_use_them() {
        for years in [0.0, 0.5, 1.0] {
            assert!(worst(since(years, 0.0)) < 0.1505, "{years} years");
        }
        assert!(
            worst(since(1.0, 0.0)) > 0.1,
            "errors are drawn over the whole statement, not near its middle"
        );
    }

    #[test]
    fn a_meter_that_is_not_looked_after_leaves_its_limits() {
        assert!(worst(since(5.0, 0.0)) > 0.16);
        assert!(worst(since(0.5, 15.0)) > 0.16);
        // Drift grows in proportion to the time: twice the years, twice the way.
        let noise = Noise::new(3, "x");
        let at = |years| since(years, 0.0).share("f gain", &noise);
        assert!((at(4.0) - at(0.0) - 2.0 * (at(2.0) - at(0.0))).abs() < 1e-12);
    }

    #[test]
    fn noise_scatters_by_what_is_asked() {
        let scatter = |by: f64| {
            let mut noise = Noise::new(1, "x");
            let given = Since {
                noise: by,
                ..Since::default()
            };
            let shown: Vec<f64> = (0..2000)
                .map(|_| {
                    let reading = noise.next_reading();
                    let fine = Accuracy {
                        resolution: 1e-9,
                        ..ACCURACY
                    };
                    fine.shown_since(0.0, "f", &noise, reading, given)
                })
                .collect();
            let mean = shown.iter().sum::<f64>() / 2000.0;
            libm::sqrt(shown.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / 2000.0)
        };
        assert!((scatter(0.1) / scatter(1.0) - 0.1).abs() < 1e-6);
        // A tenth of the constant part at its most, triangular: divided by √6.
        assert!((scatter(1.0) - 0.005 / libm::sqrt(6.0)).abs() < 1e-4);
    }
}
