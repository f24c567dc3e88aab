//! Heat of the contact and its terminal: a Foster network of two nodes, driven by I²·R(T), in closed form.
//!
//! R grows with the temperature, so the power depends on the rise: two linear equations, solved exactly. Where
//! `I²·R·α·Σr_th` reaches 1 one eigenvalue turns positive: the contact runs away.

use std::collections::VecDeque;

/// Two nodes: thermal resistance and time constant each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Foster {
    /// K/W
    pub(super) r_th: [f64; 2],
    /// s
    pub(super) tau_s: [f64; 2],
}

/// Power of the contact: `cold_w` at ambient temperature and `per_k` more for each kelvin of rise.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Power {
    /// W
    pub(super) cold_w: f64,
    /// W/K
    pub(super) per_k: f64,
}

/// The rise of each node above ambient, K, from a moment on under one power.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Course {
    start_s: f64,
    rise: [f64; 2],
    power: Power,
}

/// The recent past of the heat.
#[derive(Debug)]
pub(super) struct Heat {
    foster: Foster,
    courses: VecDeque<Course>,
}

/// No metal of a terminal stays in place above this rise, K.
const MOLTEN: f64 = 1000.0;

impl Foster {
    /// Rise of each node after `elapsed_s` under `power`.
    pub(super) fn advance(&self, rise: [f64; 2], power: Power, elapsed_s: f64) -> [f64; 2] {
        let r = self.r_th.map(|r| r.max(1e-6));
        let c = [self.tau_s[0] / r[0], self.tau_s[1] / r[1]];
        let a = [
            [(power.per_k - 1.0 / r[0]) / c[0], power.per_k / c[0]],
            [power.per_k / c[1], (power.per_k - 1.0 / r[1]) / c[1]],
        ];
        let (high, low) = eigenvalues(a);
        let (e_high, e_low) = (libm::exp(high * elapsed_s), libm::exp(low * elapsed_s));
        let free = combine(a, rise, spread((high, low), (e_high, e_low)));
        let grown = (grown(high, elapsed_s), grown(low, elapsed_s));
        let source = [power.cold_w / c[0], power.cold_w / c[1]];
        let forced = combine(a, source, spread((high, low), grown));
        [0, 1].map(|k| (free[k] + forced[k]).min(MOLTEN))
    }

    /// Rise of both nodes together when nothing changes any more; infinite where the contact runs away.
    pub(super) fn final_rise(&self, power: Power) -> f64 {
        let r = self.r_th[0] + self.r_th[1];
        let loop_gain = r * power.per_k;
        if loop_gain >= 1.0 {
            f64::INFINITY
        } else {
            r * power.cold_w / (1.0 - loop_gain)
        }
    }
}

/// Both are real: the matrix is similar to a symmetric one. Equal ones are parted by a hair so that one formula holds.
fn eigenvalues(a: [[f64; 2]; 2]) -> (f64, f64) {
    let middle = 0.5 * (a[0][0] + a[1][1]);
    let half = 0.5 * (a[0][0] - a[1][1]);
    let apart = libm::sqrt(half * half + a[0][1] * a[1][0]).max(1e-7 * libm::fabs(middle));
    (middle + apart, middle - apart)
}

/// f(A) = p·1 + q·A from f at the two eigenvalues.
fn spread((high, low): (f64, f64), (f_high, f_low): (f64, f64)) -> (f64, f64) {
    let q = (f_high - f_low) / (high - low);
    (f_high - q * high, q)
}

fn combine(a: [[f64; 2]; 2], x: [f64; 2], (p, q): (f64, f64)) -> [f64; 2] {
    [0, 1].map(|k| p * x[k] + q * (a[k][0] * x[0] + a[k][1] * x[1]))
}

/// ∫e^(λs) ds from 0 to t.
fn grown(lambda: f64, elapsed_s: f64) -> f64 {
    if lambda == 0.0 {
        elapsed_s
    } else {
        libm::expm1(lambda * elapsed_s) / lambda
    }
}

impl Heat {
    pub(super) fn new(foster: Foster) -> Self {
        let rest = Course {
            start_s: 0.0,
            rise: [0.0; 2],
            power: Power::default(),
        };
        Self {
            foster,
            courses: VecDeque::from([rest]),
        }
    }

    /// From now on this power.
    pub(super) fn push(&mut self, start_s: f64, power: Power, keep_s: f64) {
        let last = *self
            .courses
            .back()
            .expect("a heat starts with one course and keeps the last");
        if last.power == power {
            return;
        }
        let rise = self
            .foster
            .advance(last.rise, last.power, (start_s - last.start_s).max(0.0));
        if last.start_s >= start_s {
            self.courses.pop_back();
        }
        self.courses.push_back(Course { start_s, rise, power });
        while self.courses.len() > 1 && self.courses[1].start_s < start_s - keep_s {
            self.courses.pop_front();
        }
    }

    /// Rise of contact and terminal together above ambient, K.
    pub(super) fn rise_at(&self, time_s: f64) -> f64 {
        let later = self.courses.partition_point(|course| course.start_s <= time_s);
        let course = &self.courses[later.saturating_sub(1)];
        let rise = self
            .foster
            .advance(course.rise, course.power, (time_s - course.start_s).max(0.0));
        rise[0] + rise[1]
    }

    /// The hottest that it will get if nothing changes any more, K above ambient.
    pub(super) fn final_rise(&self) -> f64 {
        self.courses
            .back()
            .map_or(0.0, |course| self.foster.final_rise(course.power))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FOSTER: Foster = Foster {
        r_th: [2.0, 5.0],
        tau_s: [60.0, 900.0],
    };

    const POWERS: [Power; 3] = [
        Power {
            cold_w: 10.0,
            per_k: 0.0,
        },
        Power {
            cold_w: 25.0,
            per_k: 0.1,
        },
        Power {
            cold_w: 25.0,
            per_k: 0.2,
        },
    ];

    /// Small steps (midpoint rule) of the differential equation itself.
    fn stepped(mut rise: [f64; 2], power: Power, elapsed_s: f64) -> [f64; 2] {
        let steps = 50_000;
        let dt = elapsed_s / f64::from(steps);
        let slope = |x: [f64; 2]| {
            let p = power.cold_w + power.per_k * (x[0] + x[1]);
            [(p - x[0] / 2.0) / 30.0, (p - x[1] / 5.0) / 180.0]
        };
        for _ in 0..steps {
            let k1 = slope(rise);
            let k2 = slope([rise[0] + 0.5 * dt * k1[0], rise[1] + 0.5 * dt * k1[1]]);
            rise = [rise[0] + dt * k2[0], rise[1] + dt * k2[1]];
        }
        rise
    }

    #[test]
    fn closed_form_agrees_with_small_steps() {
        for power in POWERS {
            let exact = FOSTER.advance([3.0, 1.0], power, 600.0);
            let slow = stepped([3.0, 1.0], power, 600.0);
            for k in 0..2 {
                assert!((exact[k] - slow[k]).abs() < 1e-5, "{exact:?} {slow:?}");
            }
        }
    }

    #[test]
    fn energy_balances_within_a_millijoule() {
        for power in POWERS {
            let (start, span_s, steps) = ([3.0, 1.0], 600.0, 4000);
            let width = span_s / f64::from(steps);
            // Simpson's rule over the closed form: what came in less what went out, of both nodes.
            let net_w = |t: f64| {
                let x = FOSTER.advance(start, power, t);
                2.0 * (power.cold_w + power.per_k * (x[0] + x[1])) - x[0] / 2.0 - x[1] / 5.0
            };
            let weight = |k: u32| {
                if k == 0 || k == steps {
                    1.0
                } else {
                    f64::from(2 + 2 * (k % 2))
                }
            };
            let came_j: f64 = (0..=steps)
                .map(|k| weight(k) * net_w(f64::from(k) * width) * width / 3.0)
                .sum();
            let end = FOSTER.advance(start, power, span_s);
            let stored_j = 30.0 * (end[0] - start[0]) + 180.0 * (end[1] - start[1]);
            assert!(
                (stored_j - came_j).abs() < 1e-3,
                "{stored_j} J stored, {came_j} J came in"
            );
        }
    }

    #[test]
    fn a_step_follows_the_exponentials_of_its_nodes() {
        let rise = FOSTER.advance(
            [0.0; 2],
            Power {
                cold_w: 10.0,
                per_k: 0.0,
            },
            60.0,
        );
        assert!((rise[0] - 20.0 * (1.0 - libm::exp(-1.0))).abs() < 1e-9);
        assert!((rise[1] - 50.0 * (1.0 - libm::exp(-60.0 / 900.0))).abs() < 1e-9);
    }

    #[test]
    fn a_contact_runs_away_where_the_loop_gain_reaches_one() {
        let below = Power {
            cold_w: 5.0,
            per_k: 0.99 / 7.0,
        };
        let above = Power {
            cold_w: 5.0,
            per_k: 1.01 / 7.0,
        };
        assert!((FOSTER.final_rise(below) - 3500.0).abs() < 1e-6);
        assert!(FOSTER.final_rise(above).is_infinite());
        let later = FOSTER.advance([0.0; 2], above, 1e6);
        assert!((later[0] + later[1]) > 1000.0, "{later:?}");
    }
}
