//! The 95 % bound of a rate: the upper end of the one-sided Clopper–Pearson interval.

/// Upper 95 % bound of a probability after `events` in `trials`: the largest p for which so few events still have a
/// probability of 5 % (Clopper and Pearson 1934). 1 where nothing was tried.
pub fn upper_95(events: u64, trials: u64) -> f64 {
    if events >= trials {
        return 1.0;
    }
    let (mut low, mut high) = (events as f64 / trials as f64, 1.0);
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if at_most(events, trials, middle) > 0.05 {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

/// Probability of at most `events` in `trials` at a rate `p` between 0 and 1, both excluded.
fn at_most(events: u64, trials: u64, p: f64) -> f64 {
    let mut log_term = trials as f64 * (1.0 - p).ln();
    let mut sum = log_term.exp();
    for k in 0..events {
        log_term += ((trials - k) as f64 / (k + 1) as f64).ln() + p.ln() - (1.0 - p).ln();
        sum += log_term.exp();
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::upper_95;

    /// NIST/SEMATECH e-Handbook of Statistical Methods 7.2.4.1: 4 of 20, 90 % two-sided, upper end 0.401029.
    #[test]
    fn the_handbooks_example() {
        assert!((upper_95(4, 20) - 0.401_029).abs() < 2e-6);
    }

    /// No event in n trials: 1 − 0.05^(1/n), the closed form; 0 of 40 gives 7.2 %.
    #[test]
    fn no_event() {
        assert!((upper_95(0, 40) - (1.0 - 0.05_f64.powf(1.0 / 40.0))).abs() < 1e-12);
        assert!((upper_95(0, 40) - 0.072).abs() < 5e-4);
    }

    #[test]
    fn nothing_tried_says_nothing() {
        assert!((upper_95(0, 0) - 1.0).abs() < f64::EPSILON);
    }
}
