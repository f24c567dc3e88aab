//! The normal distribution, from `libm`'s complementary error function so that every platform gives the same bits.

/// Φ(x): the probability that a standard normal variable is at most `x`.
///
/// Written with `erfc`, so that small tails keep their digits (Φ(−10) is 7.6e-24 and not 0).
pub fn cumulative(x: f64) -> f64 {
    0.5 * libm::erfc(-x * core::f64::consts::FRAC_1_SQRT_2)
}

#[cfg(test)]
mod tests {
    use super::cumulative;

    /// Relative agreement: tails must keep their digits.
    fn close(got: f64, wanted: f64, relative: f64) {
        assert!(((got - wanted) / wanted).abs() <= relative, "{got} instead of {wanted}");
    }

    #[test]
    fn conformance_probabilities_of_jcgm_106_clause_7() {
        // JCGM 106 clause 7.3 examples, recomputed: Φ(1.4) and Φ((509.7 − 490)/8.6).
        close(cumulative(1.4), 0.919_24, 5e-6);
        close(cumulative((509.7 - 490.0) / 8.6), 0.989_01, 5e-6);
    }

    #[test]
    fn tails_of_the_guard_bands_of_ilac_g8_table_1() {
        // ILAC-G8:09/2019 Table 1 with U = 2u at the acceptance limit: 1 − Φ(2w/U).
        close(cumulative(-6.0), 9.9e-10, 5e-3);
        close(cumulative(-3.0), 0.001_35, 1e-3);
        close(cumulative(-2.0), 0.022_75, 1e-4);
        close(cumulative(-1.66), 0.048_5, 2e-3);
        assert!((cumulative(0.0) - 0.5).abs() < f64::EPSILON);
    }

    #[test]
    fn far_ends_are_zero_and_one_and_never_nan() {
        for (x, wanted) in [
            (f64::NEG_INFINITY, 0.0),
            (f64::INFINITY, 1.0),
            (-1e300, 0.0),
            (1e300, 1.0),
        ] {
            assert!((cumulative(x) - wanted).abs() < f64::EPSILON);
        }
    }
}
