//! A value that runs in closed form within a stretch, and integrals of it.

/// a + b·t + c·e^(−t/τ), with t from the start of its stretch, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Course {
    a: f64,
    b: f64,
    c: f64,
    tau_s: f64,
}

impl Course {
    pub(super) const ZERO: Self = Self::constant(0.0);

    pub(super) const fn constant(a: f64) -> Self {
        Self::line(a, 0.0)
    }

    /// From a value on, so much more each second.
    pub(super) const fn line(a: f64, b: f64) -> Self {
        Self {
            a,
            b,
            c: 0.0,
            tau_s: 1.0,
        }
    }

    /// From one value to another, exponentially.
    pub(super) fn settling(from: f64, to: f64, tau_s: f64) -> Self {
        Self {
            a: to,
            b: 0.0,
            c: from - to,
            tau_s: tau_s.max(1e-9),
        }
    }

    pub(super) fn scaled(&self, by: f64) -> Self {
        Self {
            a: self.a * by,
            b: self.b * by,
            c: self.c * by,
            tau_s: self.tau_s,
        }
    }

    pub(super) fn at(&self, t: f64) -> f64 {
        let settled = if self.c == 0.0 {
            0.0
        } else {
            self.c * libm::exp(-t / self.tau_s)
        };
        self.a + self.b * t + settled
    }

    /// ∫ of the value.
    pub(super) fn integral(&self, from: f64, to: f64) -> f64 {
        self.product(&Self::constant(1.0), from, to)
    }

    /// ∫ of the product with another course of the same stretch.
    pub(super) fn product(&self, other: &Self, from: f64, to: f64) -> f64 {
        let power = |n: i32| (powered(to, n) - powered(from, n)) / f64::from(n);
        let straight = self.a * other.a * power(1)
            + (self.a * other.b + self.b * other.a) * power(2)
            + self.b * other.b * power(3);
        let (k, m) = (1.0 / self.tau_s, 1.0 / other.tau_s);
        let mut sum = straight;
        if other.c != 0.0 {
            sum += other.c * (self.a * decayed(m, from, to) + self.b * swept(m, from, to));
        }
        if self.c != 0.0 {
            sum += self.c * (other.a * decayed(k, from, to) + other.b * swept(k, from, to));
        }
        if self.c != 0.0 && other.c != 0.0 {
            sum += self.c * other.c * decayed(k + m, from, to);
        }
        sum
    }

    /// The first moment after `from` at which the value is `level`, if it comes within `span`; the course must not turn before.
    pub(super) fn reaches(&self, level: f64, from: f64, span: f64) -> Option<f64> {
        first_crossing(|t| self.at(t) - level, from, span)
    }
}

/// The moment within a span at which a monotonic function changes its sign: bisection to a nanosecond.
pub(super) fn first_crossing(of: impl Fn(f64) -> f64, from: f64, span: f64) -> Option<f64> {
    let (mut low, mut high) = (from, from + span);
    let (first, last) = (of(low), of(high));
    if first == 0.0 {
        return Some(low);
    }
    if first.is_sign_positive() == last.is_sign_positive() && last != 0.0 {
        return None;
    }
    while high - low > 1e-9 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if of(middle).is_sign_positive() == first.is_sign_positive() {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(high)
}

fn powered(t: f64, n: i32) -> f64 {
    (0..n).fold(1.0, |product, _| product * t)
}

/// ∫e^(−kt) dt
fn decayed(k: f64, from: f64, to: f64) -> f64 {
    -libm::exp(-k * from) * libm::expm1(-k * (to - from)) / k
}

/// ∫t·e^(−kt) dt
fn swept(k: f64, from: f64, to: f64) -> f64 {
    let upto = |t: f64| -(t / k + 1.0 / (k * k)) * libm::exp(-k * t);
    upto(to) - upto(from)
}

#[cfg(test)]
mod tests {
    use super::Course;
    use proptest::prelude::*;

    fn courses() -> impl Strategy<Value = Course> {
        (-50.0..50.0_f64, -50.0..50.0_f64, -50.0..50.0_f64, 0.01..2.0_f64).prop_map(|(a, b, c, tau_s)| Course {
            a,
            b,
            c,
            tau_s,
        })
    }

    proptest! {
        /// Integrals against Simpson's rule.
        #[test]
        fn integrals_are_those_of_the_value(one in courses(), other in courses(), from in 0.0..1.0_f64, span in 0.01..1.0_f64) {
            let h = span / 2000.0;
            let simpson = |of: &dyn Fn(f64) -> f64| (0..=2000)
                .map(|k| of(from + f64::from(k) * h) * if k == 0 || k == 2000 { 1.0 } else { f64::from(2 + 2 * (k % 2)) })
                .sum::<f64>() * h / 3.0;
            let scale = 1e4 * span;
            prop_assert!((one.integral(from, from + span) - simpson(&|t| one.at(t))).abs() < 1e-7 * scale);
            prop_assert!((one.product(&other, from, from + span) - simpson(&|t| one.at(t) * other.at(t))).abs() < 1e-7 * scale);
        }
    }

    #[test]
    fn a_level_is_reached_once() {
        let course = Course::settling(0.0, 400.0, 0.1);
        // t = τ·ln(400 / 300) for 100 V.
        let at = course.reaches(100.0, 0.0, 1.0).expect("it is on the way");
        assert!((at - 0.1 * libm::log(400.0 / 300.0)).abs() < 2e-9, "{at}");
        assert_eq!(course.reaches(401.0, 0.0, 1.0), None);
    }
}
