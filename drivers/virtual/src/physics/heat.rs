//! Heat of a contact: a Foster network of three nodes, driven by I²·R(T), in closed form.
//!
//! The nodes add up from the room to the contact: the cable's own loss warms the end of the cable, the contact's loss warms
//! terminal and contact above it. R grows with the temperature, so each power depends on the rise: three linear equations,
//! solved exactly. Where `I²·R·α·(r_contact + r_terminal)` reaches 1 one eigenvalue turns positive: the contact runs away.

use std::collections::VecDeque;

/// Contact, terminal, cable.
const NODES: usize = 3;

type Vector = [f64; NODES];
type Matrix = [Vector; NODES];

/// Three nodes: thermal resistance and time constant each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Foster {
    /// K/W
    pub(super) r_th: Vector,
    /// s
    pub(super) tau_s: Vector,
}

/// `cold_w` without any rise and `per_k` more for each kelvin of it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Loss {
    /// W
    pub(super) cold_w: f64,
    /// W/K
    pub(super) per_k: f64,
}

/// What heats the three nodes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Power {
    /// Loss of the contact; its `per_k` is of the contact's whole rise.
    pub(super) contact: Loss,
    /// Loss of one conductor of the cable; its `per_k` is of the cable's own rise.
    pub(super) cable: Loss,
}

/// Rise of each node above the one before it, K.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Rise(Vector);

/// The rise of each node from a moment on under one power.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Course {
    start_s: f64,
    foster: Foster,
    rise: Rise,
    power: Power,
}

/// The recent past of the heat.
#[derive(Debug)]
pub(super) struct Heat {
    courses: VecDeque<Course>,
}

/// No metal of a terminal stays in place above this rise, K.
const MOLTEN: f64 = 1000.0;
/// Exponents above this are taken as this: what has grown e^200 times is molten, and sums of such numbers stay finite.
const LARGEST_EXPONENT: f64 = 200.0;
/// Eigenvalues nearer to each other than this are parted, relative.
const HAIR: f64 = 1e-7;

impl Rise {
    /// Contact above the room, K.
    pub(super) fn contact_k(self) -> f64 {
        self.0.iter().sum()
    }

    /// Terminal above the room, K.
    pub(super) fn terminal_k(self) -> f64 {
        self.0[1] + self.0[2]
    }

    /// Cable above the room, K.
    pub(super) fn cable_k(self) -> f64 {
        self.0[2]
    }
}

impl Foster {
    fn r_th(&self) -> Vector {
        self.r_th.map(|r| r.max(1e-6))
    }

    /// W·s/K of each node.
    fn capacities(&self) -> Vector {
        let r = self.r_th();
        std::array::from_fn(|k| self.tau_s[k] / r[k])
    }

    /// Rise of each node after `elapsed_s` under `power`.
    pub(super) fn advance(&self, rise: Rise, power: Power, elapsed_s: f64) -> Rise {
        if rise == Rise::default() && power == Power::default() {
            return rise;
        }
        let (r, c) = (self.r_th(), self.capacities());
        let (contact, cable) = (power.contact.per_k, power.cable.per_k);
        let a = [
            [(contact - 1.0 / r[0]) / c[0], contact / c[0], contact / c[0]],
            [contact / c[1], (contact - 1.0 / r[1]) / c[1], contact / c[1]],
            [0.0, 0.0, (cable - 1.0 / r[2]) / c[2]],
        ];
        let nodes = eigenvalues(&a);
        let free = apply(
            &a,
            nodes,
            nodes.map(|node| libm::exp(exponent(node, elapsed_s))),
            rise.0,
        );
        let source = [
            power.contact.cold_w / c[0],
            power.contact.cold_w / c[1],
            power.cable.cold_w / c[2],
        ];
        let forced = apply(&a, nodes, nodes.map(|node| grown(node, elapsed_s)), source);
        let mut all: Vector = std::array::from_fn(|k| (free[k] + forced[k]).min(MOLTEN));
        // The cable depends on no other node, so their running away does not blur it.
        let own = a[2][2];
        let cable_k = rise.0[2] * libm::exp(exponent(own, elapsed_s)) + source[2] * grown(own, elapsed_s);
        all[2] = cable_k.min(MOLTEN);
        Rise(all)
    }

    /// Rise of the terminal when nothing changes any more; infinite where the contact runs away.
    pub(super) fn final_terminal_k(&self, power: Power) -> f64 {
        let [contact, terminal, cable] = self.r_th();
        let (cable_gain, contact_gain) = (cable * power.cable.per_k, (contact + terminal) * power.contact.per_k);
        if cable_gain >= 1.0 || contact_gain >= 1.0 {
            return f64::INFINITY;
        }
        let cable_k = cable * power.cable.cold_w / (1.0 - cable_gain);
        let lost_w = (power.contact.cold_w + power.contact.per_k * cable_k) / (1.0 - contact_gain);
        terminal * lost_w + cable_k
    }
}

/// All are real: the first two nodes are similar to a symmetric matrix, and the cable stands alone. Equal ones are parted
/// by a hair so that one formula holds.
fn eigenvalues(a: &Matrix) -> Vector {
    let middle = 0.5 * (a[0][0] + a[1][1]);
    let half = 0.5 * (a[0][0] - a[1][1]);
    let hair = HAIR * libm::fabs(middle).max(libm::fabs(a[2][2]));
    let apart = libm::sqrt(half * half + a[0][1] * a[1][0]).max(hair);
    let (high, low) = (middle + apart, middle - apart);
    let near = |other: f64| libm::fabs(a[2][2] - other) < hair;
    let cable = if near(high) {
        high + 2.5 * hair
    } else if near(low) {
        low - 2.5 * hair
    } else {
        a[2][2]
    };
    [high, low, cable]
}

/// f(A)·x from f at the eigenvalues, by divided differences.
fn apply(a: &Matrix, nodes: Vector, f: Vector, x: Vector) -> Vector {
    let first = (f[1] - f[0]) / (nodes[1] - nodes[0]);
    let second = (f[2] - f[1]) / (nodes[2] - nodes[1]);
    let third = (second - first) / (nodes[2] - nodes[0]);
    let once = without(a, nodes[0], x);
    let twice = without(a, nodes[1], once);
    std::array::from_fn(|k| f[0] * x[k] + first * once[k] + third * twice[k])
}

/// (A − λ)·x
fn without(a: &Matrix, lambda: f64, x: Vector) -> Vector {
    std::array::from_fn(|k| a[k][0] * x[0] + a[k][1] * x[1] + a[k][2] * x[2] - lambda * x[k])
}

/// λ·t, as far as it makes a difference.
fn exponent(lambda: f64, elapsed_s: f64) -> f64 {
    (lambda * elapsed_s).min(LARGEST_EXPONENT)
}

/// ∫e^(λs) ds from 0 to t.
fn grown(lambda: f64, elapsed_s: f64) -> f64 {
    if lambda == 0.0 {
        elapsed_s
    } else {
        libm::expm1(exponent(lambda, elapsed_s)) / lambda
    }
}

impl Heat {
    pub(super) fn new(foster: Foster) -> Self {
        let rest = Course {
            start_s: 0.0,
            foster,
            rise: Rise::default(),
            power: Power::default(),
        };
        Self {
            courses: VecDeque::from([rest]),
        }
    }

    fn last(&self) -> &Course {
        self.courses
            .back()
            .expect("a heat starts with one course and keeps the last")
    }

    /// From now on this power.
    pub(super) fn push(&mut self, start_s: f64, power: Power, keep_s: f64) {
        let last = *self.last();
        if last.power != power {
            self.begin(start_s, last.foster, power, 0.0, keep_s);
        }
    }

    /// From now on another way to the room, which is so much warmer than before: what is warm stays warm for the moment.
    pub(super) fn cool_by(&mut self, start_s: f64, foster: Foster, warmer_k: f64, keep_s: f64) {
        let power = self.last().power;
        self.begin(start_s, foster, power, warmer_k, keep_s);
    }

    fn begin(&mut self, start_s: f64, foster: Foster, power: Power, warmer_k: f64, keep_s: f64) {
        let last = *self.last();
        let mut rise = last
            .foster
            .advance(last.rise, last.power, (start_s - last.start_s).max(0.0));
        rise.0[2] -= warmer_k;
        if last.start_s >= start_s {
            self.courses.pop_back();
        }
        self.courses.push_back(Course {
            start_s,
            foster,
            rise,
            power,
        });
        while self.courses.len() > 1 && self.courses[1].start_s < start_s - keep_s {
            self.courses.pop_front();
        }
    }

    /// Rise of every node at a moment.
    pub(super) fn rise_at(&self, time_s: f64) -> Rise {
        let later = self.courses.partition_point(|course| course.start_s <= time_s);
        let course = &self.courses[later.saturating_sub(1)];
        course
            .foster
            .advance(course.rise, course.power, (time_s - course.start_s).max(0.0))
    }

    /// The hottest that the terminal will get if nothing changes any more, K above the room.
    pub(super) fn final_terminal_k(&self) -> f64 {
        self.courses
            .back()
            .map_or(0.0, |course| course.foster.final_terminal_k(course.power))
    }
}

#[cfg(test)]
#[path = "heat_tests.rs"]
mod tests;
