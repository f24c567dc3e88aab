//! Noise and errors by seed, keyed by instrument and reading number: another instrument, or one more reading of another
//! function, changes nothing here. Only integer arithmetic and `+ * /`, so that every platform gives the same bits.

/// Where an instrument's random numbers come from.
#[derive(Debug, Clone)]
pub(crate) struct Noise {
    key: u64,
    reading: u64,
}

impl Noise {
    /// For the instrument of this name on a bench of this seed.
    pub(crate) fn new(seed: u64, instrument: &str) -> Self {
        let key = instrument
            .bytes()
            .fold(mix(seed ^ 0x51_7c_c1_b7_27_22_0a_95), |key, byte| {
                mix(key ^ u64::from(byte))
            });
        Self { key, reading: 0 }
    }

    /// A fixed property of this instrument, in −1…1, uniform: the same for each reading.
    pub(crate) fn property(&self, name: &str) -> f64 {
        let key = name.bytes().fold(!self.key, |key, byte| mix(key ^ u64::from(byte)));
        centred(key)
    }

    /// Begins the next reading.
    pub(crate) fn next_reading(&mut self) -> Reading {
        self.reading += 1;
        Reading {
            key: mix(self.key ^ mix(self.reading)),
        }
    }
}

/// The random numbers of one reading.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Reading {
    key: u64,
}

impl Reading {
    /// Number `index` of this reading: in −1…1 with a triangular density (standard deviation 1/√6), so bounded.
    pub(crate) fn triangular(self, index: u64) -> f64 {
        let bits = self.bits(index);
        let (high, low) = (bits >> 32, bits & 0xffff_ffff);
        (high as f64 - low as f64) / 4_294_967_296.0
    }

    /// Like [`Reading::triangular`], for samples by the million: one word serves four neighbours, each with 2⁸ positions a
    /// side, far finer than the noise is against the converter's step.
    pub(crate) fn coarse(self, first: u64) -> impl Iterator<Item = f64> {
        let mut word = self.bits(first / 4) >> (16 * (first % 4));
        (first..).map(move |index| {
            if index % 4 == 0 {
                word = self.bits(index / 4);
            }
            let (high, low) = (word >> 8 & 0xff, word & 0xff);
            word >>= 16;
            f64::from(high as i32 - low as i32) / 256.0
        })
    }

    fn bits(self, index: u64) -> u64 {
        mix(self.key ^ index.wrapping_mul(0x9e37_79b9_7f4a_7c15))
    }
}

/// The 64-bit finaliser of a splittable counter-based generator (multiply and xor-shift).
pub(crate) fn mix(mut word: u64) -> u64 {
    word = word.wrapping_add(0x9e37_79b9_7f4a_7c15);
    word = (word ^ (word >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    word = (word ^ (word >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    word ^ (word >> 31)
}

/// 53 bits as a number in −1…1.
pub(crate) fn centred(bits: u64) -> f64 {
    (bits >> 11) as f64 / 4_503_599_627_370_496.0 - 1.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn readings_are_keyed_by_instrument_and_number() {
        let (mut meter, mut other) = (Noise::new(7, "meter"), Noise::new(7, "drop_meter"));
        let first = meter.next_reading();
        assert_ne!(
            first.triangular(0).to_bits(),
            other.next_reading().triangular(0).to_bits()
        );
        assert_ne!(
            first.triangular(0).to_bits(),
            meter.next_reading().triangular(0).to_bits()
        );
        assert_eq!(
            first.triangular(0).to_bits(),
            Noise::new(7, "meter").next_reading().triangular(0).to_bits()
        );
    }

    #[test]
    fn the_triangle_has_its_mean_and_spread() {
        let reading = Noise::new(1, "x").next_reading();
        let draws: Vec<f64> = (0..20_000).map(|index| reading.triangular(index)).collect();
        let mean = draws.iter().sum::<f64>() / 20_000.0;
        let variance = draws.iter().map(|draw| draw * draw).sum::<f64>() / 20_000.0;
        assert!(mean.abs() < 0.01, "{mean}");
        assert!((variance - 1.0 / 6.0).abs() < 0.01, "{variance}");
        assert!(draws.iter().all(|draw| draw.abs() <= 1.0));
    }

    #[test]
    fn coarse_noise_has_the_same_spread_and_begins_anywhere() {
        let reading = Noise::new(1, "x").next_reading();
        let draws: Vec<f64> = reading.coarse(0).take(20_000).collect();
        let mean = draws.iter().sum::<f64>() / 20_000.0;
        let variance = draws.iter().map(|draw| draw * draw).sum::<f64>() / 20_000.0;
        assert!(mean.abs() < 0.01, "{mean}");
        assert!((variance - 1.0 / 6.0).abs() < 0.01, "{variance}");
        for first in 1..9 {
            let later: Vec<f64> = reading.coarse(first as u64).take(20).collect();
            assert_eq!(later, draws[first..first + 20]);
        }
    }

    #[test]
    fn properties_differ_by_name_and_seed() {
        assert_ne!(
            Noise::new(1, "x").property("gain").to_bits(),
            Noise::new(1, "x").property("offset").to_bits()
        );
        assert_ne!(
            Noise::new(1, "x").property("gain").to_bits(),
            Noise::new(2, "x").property("gain").to_bits()
        );
    }
}
