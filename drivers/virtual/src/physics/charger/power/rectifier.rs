//! The bridge that charges the bulk capacitor while the power stage does not work: resistance, inductance and capacitance in a row
//! behind a rectified sine, in closed form as long as current flows.

use super::super::super::mains::Complex;
use super::course::first_crossing;

/// What lies between source and bulk capacitor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Path {
    /// Ω
    pub(super) ohm: f64,
    /// H
    pub(super) henry: f64,
    /// F
    pub(super) farad: f64,
}

/// Current through the bridge from a moment on; it ends where the current does, or where the source turns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pulse {
    path: Path,
    /// V of the source's crest.
    crest_v: f64,
    omega: f64,
    /// Angle of the rectified source at the start, 0…π.
    angle: f64,
    /// Which half of the source's wave it is: the line's current has this sign.
    pub(super) sign: f64,
    /// Of the capacitor's voltage and the current without the source: V and A at the start.
    free: (f64, f64),
    /// Forced current and voltage: their phasors' crests.
    forced: (Complex, Complex),
}

impl Pulse {
    /// From this voltage and current on, at this angle of the source, 0…2π.
    pub(super) fn new(path: Path, crest_v: f64, omega: f64, phase: f64, (volts, amps): (f64, f64)) -> Self {
        let pi = core::f64::consts::PI;
        let (angle, sign) = if phase >= pi { (phase - pi, -1.0) } else { (phase, 1.0) };
        // A hair of resistance keeps both roots apart, and a hair of inductance keeps them finite.
        let path = Path {
            ohm: path.ohm.max(1e-3),
            henry: path.henry.max(1e-7),
            farad: path.farad.max(1e-9),
        };
        let reactance = omega * path.henry - 1.0 / (omega * path.farad);
        let impedance = Complex {
            re: path.ohm,
            im: reactance,
        };
        let forced_a = Complex::real(crest_v) / impedance;
        let forced_v = forced_a / Complex::imaginary(omega * path.farad);
        let turned = Complex::unit(angle);
        Self {
            path,
            crest_v,
            omega,
            angle,
            sign,
            free: (volts - (forced_v * turned).im, amps - (forced_a * turned).im),
            forced: (forced_a, forced_v),
        }
    }

    /// What lies between source and bulk capacitor.
    pub(super) fn path(&self) -> Path {
        self.path
    }

    /// V of the bulk capacitor and A through the bridge, t after the start.
    pub(super) fn at(&self, t: f64) -> (f64, f64) {
        let turned = Complex::unit(self.angle + self.omega * t);
        let (volts, amps) = self.freely(t);
        (volts + (self.forced.1 * turned).im, amps + (self.forced.0 * turned).im)
    }

    /// The free part: v'' + (R/L)·v' + v/(LC) = 0.
    fn freely(&self, t: f64) -> (f64, f64) {
        let Path { ohm, henry, farad } = self.path;
        let (v0, slope) = (self.free.0, self.free.1 / farad);
        let half = 0.5 * ohm / henry;
        let square = half * half - 1.0 / (henry * farad);
        let near = 1e-9 * half * half;
        if square > near {
            let apart = libm::sqrt(square);
            // The slow root by the product of both, which keeps its digits.
            let fast = -(half + apart);
            let slow = 1.0 / (henry * farad * fast);
            let of_fast = (slope - slow * v0) / (fast - slow);
            let of_slow = v0 - of_fast;
            let (fast_e, slow_e) = (libm::exp(fast * t), libm::exp(slow * t));
            (
                of_fast * fast_e + of_slow * slow_e,
                farad * (of_fast * fast * fast_e + of_slow * slow * slow_e),
            )
        } else {
            let turning = libm::sqrt((-square).max(near));
            let (sin, cos) = libm::sincos(turning * t);
            let decay = libm::exp(-half * t);
            let b = (slope + half * v0) / turning;
            (
                decay * (v0 * cos + b * sin),
                farad * decay * ((b * turning - half * v0) * cos - (v0 * turning + half * b) * sin),
            )
        }
    }

    /// V of the source at its own terminals, with its sign.
    pub(super) fn source_v(&self, t: f64) -> f64 {
        self.sign * self.crest_v * libm::sin(self.angle + self.omega * t)
    }

    /// When the current ends; where the source turns at the latest, s after the start.
    pub(super) fn ends_s(&self) -> f64 {
        /// Moments at which the half wave is looked at.
        const LOOKS: u32 = 400;
        /// The same in the first of these parts: a current that is cut off dies fast.
        const EARLY: [f64; 5] = [1e-4, 1e-3, 1e-2, 0.1, 0.5];
        /// Nothing shorter is told apart, s.
        const SHORTEST_S: f64 = 1e-8;
        let span = ((core::f64::consts::PI - self.angle) / self.omega).max(1e-7);
        let step = span / f64::from(LOOKS);
        let moments = EARLY
            .into_iter()
            .chain((1..LOOKS).map(f64::from))
            .map(|part| part * step);
        let mut before = 0.0;
        for moment in moments {
            if self.at(moment).1 <= 0.0 {
                let ends = first_crossing(|t| self.at(t).1, before, moment - before);
                return ends.unwrap_or(moment).max(SHORTEST_S);
            }
            before = moment;
        }
        span
    }
}

#[cfg(test)]
mod tests {
    use super::{Path, Pulse};
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

        /// The closed form against small steps of the differential equations (Runge and Kutta, fourth order).
        #[test]
        fn current_and_voltage_obey_their_equations(
            ohm in 0.05..60.0_f64, henry in 50e-6..2e-3_f64, farad in 0.2e-3..3e-3_f64,
            phase in 0.0..6.0_f64, volts in 0.0..320.0_f64, amps in 0.0..20.0_f64,
        ) {
            let path = Path { ohm, henry, farad };
            let pulse = Pulse::new(path, 325.0, 314.159, phase, (volts, amps));
            let angle = if phase >= core::f64::consts::PI { phase - core::f64::consts::PI } else { phase };
            let source = |t: f64| 325.0 * libm::sin(angle + 314.159 * t);
            let slope = |t: f64, (v, i): (f64, f64)| (i / farad, (source(t) - v - ohm * i) / henry);
            let (mut state, h) = ((volts, amps), 2e-7);
            for k in 0..5000 {
                let t = f64::from(k) * h;
                let moved = |(a, b): (f64, f64), by: f64| (state.0 + a * by, state.1 + b * by);
                let one = slope(t, state);
                let two = slope(t + 0.5 * h, moved(one, 0.5 * h));
                let three = slope(t + 0.5 * h, moved(two, 0.5 * h));
                let four = slope(t + h, moved(three, h));
                let mean = |a: f64, b: f64, c: f64, d: f64| (a + 2.0 * b + 2.0 * c + d) / 6.0;
                state = moved((mean(one.0, two.0, three.0, four.0), mean(one.1, two.1, three.1, four.1)), h);
            }
            let (v, i) = pulse.at(1e-3);
            prop_assert!((v - state.0).abs() < 1e-3, "{v} {state:?}");
            prop_assert!((i - state.1).abs() < 1e-2, "{i} {state:?}");
        }
    }
}
