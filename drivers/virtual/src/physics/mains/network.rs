//! The nodal equations of the power path. Reference is the source's earth; the source's own angle is zero.

use super::super::api::{Node, Pair, Pole};
use super::complex::Complex;

/// What never changes while a world lives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Fixed {
    /// Loop resistance of the supply, Ω.
    pub(in super::super) z_source: f64,
    /// PE from the source's earth to the outlet, Ω.
    pub(in super::super) r_pe: f64,
    /// Each input conductor to PE, F.
    pub(in super::super) c_y: f64,
    /// L to PE at the output, Ω.
    pub(in super::super) r_iso: f64,
    /// Across an open pole, F.
    pub(in super::super) c_stray: f64,
    /// Each output conductor to PE, F.
    pub(in super::super) c_out: f64,
    /// The item's electronics, S.
    pub(in super::super) standby_s: f64,
    /// On each output pair, always, Ω.
    pub(in super::super) r_meter: f64,
    /// On each output pair, when the burden is on, Ω.
    pub(in super::super) r_burden: f64,
    /// L and N are crossed behind the contactor.
    pub(in super::super) crossed: bool,
    /// Two lines against earth instead of one line and a neutral.
    pub(in super::super) split: bool,
}

/// What switches and turns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Switching {
    /// V rms of the source between its two conductors; 0 while the item is disconnected from it.
    pub(in super::super) source_v: f64,
    /// Hz.
    pub(in super::super) frequency: f64,
    /// A rms that the source can give.
    pub(in super::super) limit_a: f64,
    /// The poles L and N conduct.
    pub(in super::super) poles: [bool; 2],
    /// A rms that the electronic load wants; 0 while it is off.
    pub(in super::super) load_a: f64,
    /// The burden is on.
    pub(in super::super) burden: bool,
}

/// The network at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Network<'a> {
    /// What never changes.
    pub(in super::super) fixed: &'a Fixed,
    /// What switches.
    pub(in super::super) switching: &'a Switching,
    /// Poles L and N with their cable at their present temperature, Ω.
    pub(in super::super) r_poles: [f64; 2],
}

/// V rms of every conductor to the source's earth, A rms of the two currents.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Phasors {
    volts: [Complex; 5],
    out_a: Complex,
    in_a: Complex,
}

const IN_L: usize = 0;
const IN_N: usize = 1;
const OUT_L: usize = 2;
const OUT_N: usize = 3;
const PE: usize = 4;

type Matrix = [[Complex; 6]; 5];

impl Switching {
    /// Current that really flows through the load: both poles and a source are needed, and no more than the source gives.
    pub(in super::super) fn flowing_a(&self) -> f64 {
        if self.poles == [true, true] && self.source_v > 1.0 {
            self.load_a.min(self.limit_a)
        } else {
            0.0
        }
    }

    /// The source folds back in proportion when the load wants more than its limit.
    fn held_v(&self) -> f64 {
        if self.poles == [true, true] && self.load_a > self.limit_a {
            self.source_v * self.limit_a / self.load_a
        } else {
            self.source_v
        }
    }
}

impl Network<'_> {
    /// Solves for every conductor.
    pub(in super::super) fn solve(&self) -> Phasors {
        if self.switching.source_v <= 0.0 {
            return Phasors {
                volts: [Complex::ZERO; 5],
                out_a: Complex::ZERO,
                in_a: Complex::ZERO,
            };
        }
        let (e_l, e_n) = self.sources_v();
        let g_line = 1.0 / (0.5 * self.fixed.z_source).max(1e-6);
        let mut matrix: Matrix = [[Complex::ZERO; 6]; 5];
        self.add_supply(&mut matrix, g_line, (e_l, e_n));
        self.add_contactor(&mut matrix);
        self.add_outlet(&mut matrix);
        let out_a = self.add_load(&mut matrix);
        let volts = eliminate(matrix);
        let in_a = (Complex::real(e_l) - volts[IN_L]) * Complex::real(g_line);
        Phasors { volts, out_a, in_a }
    }

    fn sources_v(&self) -> (f64, f64) {
        let volts = self.switching.held_v();
        if self.fixed.split {
            (0.5 * volts, -0.5 * volts)
        } else {
            (volts, 0.0)
        }
    }

    fn omega(&self) -> f64 {
        2.0 * core::f64::consts::PI * self.switching.frequency
    }

    fn add_supply(&self, matrix: &mut Matrix, g_line: f64, (e_l, e_n): (f64, f64)) {
        for (node, source_v) in [(IN_L, e_l), (IN_N, e_n)] {
            to_earth(matrix, node, Complex::real(g_line));
            matrix[node][5] = Complex::real(g_line * source_v);
            between(matrix, node, PE, Complex::imaginary(self.omega() * self.fixed.c_y));
        }
        to_earth(matrix, PE, Complex::real(1.0 / self.fixed.r_pe.max(1e-6)));
        between(matrix, IN_L, IN_N, Complex::real(self.fixed.standby_s));
    }

    fn add_contactor(&self, matrix: &mut Matrix) {
        let pins = if self.fixed.crossed {
            [OUT_N, OUT_L]
        } else {
            [OUT_L, OUT_N]
        };
        for pole in 0..2 {
            let admittance = if self.switching.poles[pole] {
                Complex::real(1.0 / self.r_poles[pole].max(1e-6))
            } else {
                Complex::imaginary(self.omega() * self.fixed.c_stray)
            };
            between(matrix, [IN_L, IN_N][pole], pins[pole], admittance);
        }
    }

    fn add_outlet(&self, matrix: &mut Matrix) {
        let burden_s = if self.switching.burden {
            1.0 / self.fixed.r_burden
        } else {
            0.0
        };
        let pair = Complex::real(1.0 / self.fixed.r_meter + burden_s);
        let earth = Complex {
            re: pair.re,
            im: self.omega() * self.fixed.c_out,
        };
        between(matrix, OUT_L, OUT_N, pair);
        between(matrix, OUT_L, PE, earth);
        between(matrix, OUT_N, PE, earth);
        between(matrix, OUT_L, PE, Complex::real(1.0 / self.fixed.r_iso));
    }

    /// The load takes a sine in phase with the voltage at its own terminals.
    fn add_load(&self, matrix: &mut Matrix) -> Complex {
        let amps = self.switching.flowing_a();
        let out_a = Complex::real(if self.fixed.crossed { -amps } else { amps });
        matrix[OUT_L][5] = matrix[OUT_L][5] - out_a;
        matrix[OUT_N][5] = matrix[OUT_N][5] + out_a;
        out_a
    }
}

impl Phasors {
    /// The phasor of what a node names; `None` for what is not a sine of the mains.
    pub(in super::super) fn of(&self, node: Node) -> Option<Complex> {
        let v = &self.volts;
        Some(match node {
            Node::In(Pair::LN) => v[IN_L] - v[IN_N],
            Node::In(Pair::LPe) => v[IN_L] - v[PE],
            Node::In(Pair::NPe) => v[IN_N] - v[PE],
            Node::Out(Pair::LN) => v[OUT_L] - v[OUT_N],
            Node::Out(Pair::LPe) => v[OUT_L] - v[PE],
            Node::Out(Pair::NPe) => v[OUT_N] - v[PE],
            Node::Path(Pole::L) => v[IN_L] - v[OUT_L],
            Node::Path(Pole::N) => v[IN_N] - v[OUT_N],
            Node::OutCurrent => self.out_a,
            Node::InCurrent => self.in_a,
            Node::Pilot | Node::Reference => return None,
        })
    }

    /// V rms of the item's PE to the source's earth.
    pub(in super::super) fn earth_v(&self) -> f64 {
        self.volts[PE].magnitude()
    }
}

fn to_earth(matrix: &mut Matrix, node: usize, admittance: Complex) {
    matrix[node][node] = matrix[node][node] + admittance;
}

fn between(matrix: &mut Matrix, a: usize, b: usize, admittance: Complex) {
    to_earth(matrix, a, admittance);
    to_earth(matrix, b, admittance);
    matrix[a][b] = matrix[a][b] - admittance;
    matrix[b][a] = matrix[b][a] - admittance;
}

/// Gaussian elimination with a pivot in each column; the last column is the right-hand side.
fn eliminate(mut matrix: Matrix) -> [Complex; 5] {
    for column in 0..5 {
        let pivot = (column..5)
            .max_by(|&a, &b| matrix[a][column].magnitude().total_cmp(&matrix[b][column].magnitude()))
            .unwrap_or(column);
        matrix.swap(column, pivot);
        for row in column + 1..5 {
            let factor = matrix[row][column] / matrix[column][column];
            let above = matrix[column];
            for (cell, above) in matrix[row].iter_mut().zip(above).skip(column) {
                *cell = *cell - factor * above;
            }
        }
    }
    let mut solution = [Complex::ZERO; 5];
    for row in (0..5).rev() {
        let mut sum = matrix[row][5];
        for k in row + 1..5 {
            sum = sum - matrix[row][k] * solution[k];
        }
        solution[row] = sum / matrix[row][row];
    }
    solution
}
