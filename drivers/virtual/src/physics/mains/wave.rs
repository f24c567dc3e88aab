//! A fundamental with its harmonics: values, and sums over time in closed form.
//!
//! With S(θ) = Σ p·e^(jhθ) over the orders h, the wave is √2·Im S. Powers of e^(jθ) come by multiplication, so that a
//! harmonic costs no sine of its own.

use super::complex::Complex;

/// The orders that are reckoned with: the fundamental, and what rectifiers put onto a single-phase supply.
pub(in super::super) const ORDERS: [u8; 4] = [1, 3, 5, 7];
/// The most odd orders that a wave can have.
const MOST: usize = 20;
/// Half of the highest even order in a square of such a wave.
const SQUARES: usize = 2 * MOST - 1;
/// Values after which a wave is reckoned anew from its function.
const RENEW: usize = 64;

/// √2·Σ|p|·sin(h·θ + arg p), θ = ω·(t − start) + angle, of the first `N` odd orders: those of [`ORDERS`] where nothing else is said
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Wave<const N: usize = { ORDERS.len() }> {
    /// RMS phasor of each order.
    pub(in super::super) phasors: [Complex; N],
    /// Angular frequency of the fundamental, 1/s.
    pub(in super::super) omega: f64,
    /// Where the angle counts from, s.
    pub(in super::super) start_s: f64,
    /// Angle at the start, rad.
    pub(in super::super) angle: f64,
}

/// The odd order at a place of a wave.
pub(in super::super) fn order(place: usize) -> f64 {
    2.0 * place as f64 + 1.0
}

impl<const N: usize> Wave<N> {
    /// A sine of 0 rad at 0 s.
    pub(in super::super) fn sine(rms: f64, omega: f64) -> Self {
        let mut phasors = [Complex::ZERO; N];
        phasors[0] = Complex::real(rms);
        Self {
            phasors,
            omega,
            start_s: 0.0,
            angle: 0.0,
        }
    }

    /// The wave behind something that passes each frequency, Hz, by another gain.
    pub(in super::super) fn through(mut self, gain: &dyn Fn(f64) -> f64) -> Self {
        let hertz = self.omega / (2.0 * core::f64::consts::PI);
        for (place, phasor) in self.phasors.iter_mut().enumerate() {
            *phasor = phasor.scaled(gain(order(place) * hertz));
        }
        self
    }

    /// Root mean square of a whole period.
    pub(in super::super) fn rms(&self) -> f64 {
        libm::sqrt(self.mean_square())
    }

    fn mean_square(&self) -> f64 {
        self.phasors.iter().map(|phasor| phasor.norm()).sum()
    }

    fn is_nothing(&self) -> bool {
        self.phasors.iter().all(|phasor| *phasor == Complex::ZERO)
    }

    /// Number of orders up to the highest that is not zero.
    fn used(&self) -> usize {
        let highest = self.phasors.iter().rposition(|phasor| *phasor != Complex::ZERO);
        highest.map_or(1, |place| place + 1)
    }

    fn angle_at(&self, time_s: f64) -> f64 {
        self.angle + self.omega * (time_s - self.start_s)
    }

    /// √2·p·e^(jhθ) of each order.
    fn pointers(&self, time_s: f64) -> [Complex; N] {
        let turned: [Complex; N] = odd_powers(Complex::unit(self.angle_at(time_s)));
        std::array::from_fn(|k| (self.phasors[k] * turned[k]).scaled(core::f64::consts::SQRT_2))
    }

    /// The value at one moment.
    pub(in super::super) fn at(&self, time_s: f64) -> f64 {
        if self.is_nothing() {
            return 0.0;
        }
        self.pointers(time_s).iter().map(|pointer| pointer.im).sum()
    }

    /// ∫v dt
    pub(in super::super) fn integral(&self, from_s: f64, to_s: f64) -> f64 {
        if self.is_nothing() {
            return 0.0;
        }
        let (from, to) = (self.pointers(from_s), self.pointers(to_s));
        let swept = |k: usize| (from[k].re - to[k].re) / order(k);
        (0..N).map(swept).sum::<f64>() / self.omega
    }

    /// ∫v² dt: v² = |S|² − Re S² is a mean and even orders.
    pub(in super::super) fn square_integral(&self, from_s: f64, to_s: f64) -> f64 {
        if self.is_nothing() {
            return 0.0;
        }
        let even = self.even_orders();
        let from = Complex::unit(2.0 * self.angle_at(from_s));
        let to = Complex::unit(2.0 * self.angle_at(to_s));
        let (mut turned_from, mut turned_to) = (from, to);
        let mut ripple = 0.0;
        for (m, part) in (1_u8..).zip(even).take(2 * N - 1) {
            ripple += (part * (turned_to - turned_from)).im / (2.0 * f64::from(m));
            (turned_from, turned_to) = (turned_from * from, turned_to * to);
        }
        self.mean_square() * (to_s - from_s) + ripple / self.omega
    }

    /// Complex amplitudes of the orders 2, 4 … of v². Two odd orders 2k + 1 and 2j + 1 make the even ones 2(k + j + 1) and 2(k − j).
    fn even_orders(&self) -> [Complex; SQUARES] {
        let mut even = [Complex::ZERO; SQUARES];
        for (k, a) in self.phasors.iter().enumerate() {
            if *a == Complex::ZERO {
                continue;
            }
            even[2 * k] = even[2 * k] - *a * *a;
            for (j, b) in self.phasors.iter().enumerate().take(k) {
                even[k + j] = even[k + j] - (*a * *b).scaled(2.0);
                even[k - j - 1] = even[k - j - 1] + (*a * b.conjugate()).scaled(2.0);
            }
        }
        even
    }

    /// Appends `count` values, which go on from the exact function anew every 64 values.
    pub(in super::super) fn samples(&self, from_s: f64, interval_s: f64, count: usize, out: &mut Vec<f64>) {
        if self.is_nothing() {
            out.extend(std::iter::repeat_n(0.0, count));
            return;
        }
        let used = self.used();
        let steps: [Complex; N] = odd_powers(Complex::unit(self.omega * interval_s));
        let mut done = 0;
        while done < count {
            let pointers = self.pointers(from_s + done as f64 * interval_s);
            let run = (count - done).min(RENEW);
            if used == 1 {
                turn::<1>([pointers[0]], [steps[0]], run, out);
            } else if let (Some(pointers), Some(steps)) = (low(&pointers, used), low(&steps, used)) {
                turn(pointers, steps, run, out);
            } else {
                turn::<N>(pointers, steps, run, out);
            }
            done += run;
        }
    }
}

/// The lowest orders, where no higher one is used.
fn low(all: &[Complex], used: usize) -> Option<[Complex; ORDERS.len()]> {
    all.first_chunk().copied().filter(|_| used <= ORDERS.len())
}

/// Appends the sum of some pointers, turned on from value to value. Only what is seen of a pointer is kept:
/// sin(φ + 2δ) = 2·cos δ·sin(φ + δ) − sin φ, whose error over so few values stays far below any step of an instrument.
fn turn<const N: usize>(pointers: [Complex; N], steps: [Complex; N], count: usize, out: &mut Vec<f64>) {
    let twice_cos = steps.map(|step| 2.0 * step.re);
    let mut now = pointers.map(|pointer| pointer.im);
    let mut before: [f64; N] = std::array::from_fn(|k| (pointers[k] * steps[k].conjugate()).im);
    out.extend((0..count).map(|_| {
        let mut value = 0.0;
        for k in 0..N {
            value += now[k];
            (before[k], now[k]) = (now[k], twice_cos[k] * now[k] - before[k]);
        }
        value
    }));
}

/// z, z³, z⁵ …
fn odd_powers<const N: usize>(z: Complex) -> [Complex; N] {
    let square = z * z;
    let mut power = z;
    std::array::from_fn(|k| {
        if k > 0 {
            power = power * square;
        }
        power
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn waves() -> impl Strategy<Value = Wave> {
        let phasor = (-100.0..100.0_f64, -100.0..100.0_f64).prop_map(|(re, im)| Complex { re, im });
        (proptest::array::uniform4(phasor), 40.0..70.0_f64, -3.0..3.0_f64).prop_map(|(phasors, hertz, angle)| Wave {
            phasors,
            omega: 2.0 * core::f64::consts::PI * hertz,
            start_s: 0.3,
            angle,
        })
    }

    /// The definition, order by order.
    fn defined(wave: &Wave, time_s: f64) -> f64 {
        let theta = wave.omega * (time_s - wave.start_s) + wave.angle;
        let of = |(p, h): (&Complex, u8)| {
            core::f64::consts::SQRT_2
                * libm::hypot(p.re, p.im)
                * libm::sin(f64::from(h) * theta + libm::atan2(p.im, p.re))
        };
        wave.phasors.iter().zip(ORDERS).map(of).sum()
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

        /// Values, samples and both sums against the definition and Simpson's rule.
        #[test]
        fn values_and_sums_are_those_of_the_definition(wave in waves(), from_s in 0.0..1.0_f64, span_s in 1e-3..0.05_f64) {
            let to_s = from_s + span_s;
            prop_assert!((wave.at(from_s) - defined(&wave, from_s)).abs() < 1e-8);
            let mut samples = Vec::new();
            wave.samples(from_s, span_s / 1000.0, 1001, &mut samples);
            prop_assert!((samples[1000] - defined(&wave, to_s)).abs() < 1e-7);
            let weight = |k: usize| if k == 0 || k == 1000 { 1.0 } else { f64::from(2 + 2 * u8::from(k % 2 == 1)) };
            let simpson = |of: &dyn Fn(f64) -> f64| {
                samples.iter().enumerate().map(|(k, v)| weight(k) * of(*v)).sum::<f64>() * span_s / 3000.0
            };
            let (plain, square) = (simpson(&|v| v), simpson(&|v| v * v));
            prop_assert!((wave.integral(from_s, to_s) - plain).abs() < 1e-5, "{plain}");
            prop_assert!((wave.square_integral(from_s, to_s) / square - 1.0).abs() < 1e-5, "{square}");
        }
    }

    #[test]
    fn whole_periods_have_the_root_of_the_sum_of_squares() {
        let mut wave: Wave = Wave::sine(3.0, 2.0 * core::f64::consts::PI * 50.0);
        wave.phasors[2] = Complex::imaginary(4.0);
        assert!((wave.rms() - 5.0).abs() < 1e-12);
        assert!((wave.square_integral(0.013, 0.033) - 0.02 * 25.0).abs() < 1e-12);
        assert!(wave.integral(0.013, 0.033).abs() < 1e-12);
    }
}
