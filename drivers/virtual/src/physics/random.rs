//! The item's own chance: a counter-based generator, so that every draw is a pure function of what it is for.

/// What a draw is for; streams do not disturb each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stream {
    /// Duty cycle of one period.
    Jitter = 1,
    /// Success of one closing.
    Closing = 2,
    /// Weld of one pole in one closing.
    Weld = 3,
    /// Contact resistance of one mating.
    Mating = 4,
    /// A gap while a cable is moved.
    Gap = 5,
    /// The moment of a status frame.
    Status = 6,
}

/// A number above 0 and below 1.
pub(super) fn uniform(seed: u64, stream: Stream, run: u64, counter: u64) -> f64 {
    let bits = mix(mix(mix(seed ^ (stream as u64)) ^ run) ^ counter);
    ((bits >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0
}

/// A standard normal number (Box and Muller).
pub(super) fn normal(seed: u64, stream: Stream, run: u64, counter: u64) -> f64 {
    let radius = uniform(seed, stream, run, counter.wrapping_mul(2));
    let angle = uniform(seed, stream, run, counter.wrapping_mul(2).wrapping_add(1));
    libm::sqrt(-2.0 * libm::log(radius)) * libm::cos(2.0 * core::f64::consts::PI * angle)
}

/// The finaliser of splitmix64: a public-domain bijection with good avalanche.
fn mix(value: u64) -> u64 {
    let mut z = value.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_numbers_have_mean_zero_and_deviation_one() {
        let count = 20_000_u64;
        let draws: Vec<f64> = (0..count).map(|k| normal(7, Stream::Jitter, 3, k)).collect();
        let mean = draws.iter().sum::<f64>() / count as f64;
        let variance = draws.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / count as f64;
        // Five standard errors: 1/√n for the mean, √(2/n) for the variance.
        assert!(mean.abs() < 0.036, "{mean}");
        assert!((variance - 1.0).abs() < 0.05, "{variance}");
    }
}
