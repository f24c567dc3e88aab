//! Student's t-distribution: the coverage factor for few degrees of freedom (JCGM 100, G.3 and Table G.2).

use crate::normal;

/// The factor t for which a fraction `probability` of the t-distribution lies within ±t; `None` degrees of freedom is the
/// normal distribution. `None` unless 0 < `probability` < 1 and the degrees of freedom are positive.
pub fn factor(probability: f64, degrees_of_freedom: Option<f64>) -> Option<f64> {
    if !(probability > 0.0 && probability < 1.0) {
        return None;
    }
    // From here on t and the normal distribution agree to more digits than the series below keeps.
    let many = |dof: &f64| *dof > 1e7;
    let Some(dof) = degrees_of_freedom.filter(|dof| !many(dof)) else {
        return normal::quantile(0.5 * (1.0 + probability));
    };
    if dof.is_nan() || dof <= 0.0 {
        return None;
    }
    let outside = 1.0 - probability;
    let mut high = 1.0;
    while tails(high, dof) > outside {
        high *= 2.0;
    }
    let mut low = 0.0;
    loop {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            return Some(high);
        }
        if tails(middle, dof) > outside {
            low = middle;
        } else {
            high = middle;
        }
    }
}

/// The probability beyond ±t.
fn tails(t: f64, dof: f64) -> f64 {
    incomplete_beta(0.5 * dof, 0.5, dof / (dof + t * t), t * t / (dof + t * t))
}

/// The regularised incomplete beta function of `x`; `rest` is 1 − `x`, given so that neither end loses digits.
fn incomplete_beta(a: f64, b: f64, x: f64, rest: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if rest <= 0.0 {
        return 1.0;
    }
    let front =
        libm::exp(libm::lgamma(a + b) - libm::lgamma(a) - libm::lgamma(b) + a * libm::log(x) + b * libm::log(rest));
    if x < (a + 1.0) / (a + b + 2.0) {
        front / a * continued_fraction(a, b, x)
    } else {
        1.0 - front / b * continued_fraction(b, a, rest)
    }
}

/// The continued fraction of the incomplete beta function (DLMF 8.17.22), evaluated forwards with its two running ratios.
fn continued_fraction(a: f64, b: f64, x: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let away_from_zero = |value: f64| if value.abs() < TINY { TINY } else { value };
    let mut upper = 1.0;
    let mut lower = 1.0 / away_from_zero(1.0 - (a + b) * x / (a + 1.0));
    let mut result = lower;
    for step in 1..10_000 {
        let m = f64::from(step);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut change = 1.0;
        for term in [even, odd] {
            lower = 1.0 / away_from_zero(1.0 + term * lower);
            upper = away_from_zero(1.0 + term / upper);
            change = lower * upper;
            result *= change;
        }
        if (change - 1.0).abs() < 1e-16 {
            break;
        }
    }
    result
}
