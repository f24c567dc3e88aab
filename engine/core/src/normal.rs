//! The normal distribution: its integral Φ and the inverse, accurate in both tails.

/// Beyond this many standard deviations no double holds the probability.
const FARTHEST: f64 = 40.0;

/// The probability that a standard normal value is at most `z`.
pub fn cumulative(z: f64) -> f64 {
    0.5 * libm::erfc(-z * std::f64::consts::FRAC_1_SQRT_2)
}

/// The value that a standard normal one exceeds with probability 1 − `p`; `None` unless 0 < `p` < 1.
///
/// Found by halving, to the last bit that Φ itself distinguishes: no rational approximation, so no bound to remember.
pub fn quantile(p: f64) -> Option<f64> {
    if !(p > 0.0 && p < 1.0) {
        return None;
    }
    if p > 0.5 {
        // 1 − p is exact here, and the lower tail keeps its relative accuracy.
        return quantile(1.0 - p).map(|z| -z);
    }
    let (mut low, mut high) = (-FARTHEST, 0.0);
    loop {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            return Some(high);
        }
        if cumulative(middle) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
}
