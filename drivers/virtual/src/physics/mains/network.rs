//! The nodal equations of the power path, order by order. All volts count from earth, of which the source's star point is
//! part only where the earthing says so; the source's own angle is zero.

use super::super::api::{Node, Pair, Pole};
use super::complex::Complex;
use super::wave::ORDERS;

/// How the source and the item are earthed (IEC 60364-1, 312.2).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) enum Earthing {
    /// The star point is the earth of the protective conductor.
    Tn,
    /// The star point and the item have earths of their own.
    Tt {
        /// Earth of the star point, Ω.
        source_ohm: f64,
        /// Earth electrode of the item, Ω.
        electrode_ohm: f64,
        /// What other users put on the star point against earth, V rms in phase with L.
        neutral_v: f64,
    },
    /// The star point is not earthed: what is left are its insulation and the capacitances of the supply.
    It {
        /// Insulation of the star point, Ω.
        star_ohm: f64,
        /// Each conductor of the supply to earth, F.
        conductor_f: f64,
    },
}

/// What never changes while a world lives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Fixed {
    /// Loop resistance of the supply, Ω.
    pub(in super::super) z_source: f64,
    /// Loop inductance of the supply, H.
    pub(in super::super) l_source: f64,
    /// Orders 3, 5 and 7 of the source, as ratios of its fundamental.
    pub(in super::super) harmonics: [f64; ORDERS.len() - 1],
    /// How source and item are earthed.
    pub(in super::super) earthing: Earthing,
    /// PE from the earth of the item's installation to the outlet, Ω.
    pub(in super::super) r_pe: f64,
    /// Across the input pair, F.
    pub(in super::super) c_x: f64,
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
    /// What the item draws between its input conductors in the shape of their voltage, S.
    pub(in super::super) drawn_s: f64,
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

/// Every conductor and both currents, for each of [`ORDERS`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Phasors {
    orders: [Solution; ORDERS.len()],
}

/// V rms of every conductor to earth, A rms of the two currents, of one order.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Solution {
    volts: [Complex; NODES],
    out_a: Complex,
    in_a: Complex,
    pe_a: Complex,
}

const NODES: usize = 6;
const IN_L: usize = 0;
const IN_N: usize = 1;
const OUT_L: usize = 2;
const OUT_N: usize = 3;
const PE: usize = 4;
/// The source's star point: its neutral, or the middle of a split phase.
const STAR: usize = 5;
/// The column of the right-hand side.
const RIGHT: usize = NODES;
/// A connection without resistance, S.
const SOLID_S: f64 = 1e9;
/// The least resistance of a connection that is said to have some, Ω.
const LEAST_OHM: f64 = 1e-6;

type Matrix = [[Complex; NODES + 1]; NODES];

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
    /// Solves for every conductor: the fundamental and each harmonic that the source has.
    pub(in super::super) fn solve(&self) -> Phasors {
        let mut orders = [Solution::default(); ORDERS.len()];
        if self.switching.source_v <= 0.0 {
            return Phasors { orders };
        }
        let [third, fifth, seventh] = self.fixed.harmonics;
        // What the source is set to is the rms of the whole wave.
        let fundamental_v =
            self.switching.held_v() / libm::sqrt(1.0 + third * third + fifth * fifth + seventh * seventh);
        for ((solution, order), ratio) in orders.iter_mut().zip(ORDERS).zip([1.0, third, fifth, seventh]) {
            if ratio != 0.0 {
                *solution = self.solve_order(f64::from(order), fundamental_v * ratio);
            }
        }
        Phasors { orders }
    }

    /// The load draws a sine: it takes nothing of the harmonics.
    fn solve_order(&self, order: f64, source_v: f64) -> Solution {
        let is_fundamental = order < 2.0;
        let omega = 2.0 * core::f64::consts::PI * self.switching.frequency * order;
        let line_s = Complex::real(1.0)
            / Complex {
                re: (0.5 * self.fixed.z_source).max(LEAST_OHM),
                im: 0.5 * omega * self.fixed.l_source,
            };
        let (e_l, e_n) = self.sources_v(source_v);
        let mut matrix: Matrix = [[Complex::ZERO; NODES + 1]; NODES];
        for (node, source_v) in [(IN_L, e_l), (IN_N, e_n)] {
            between(&mut matrix, STAR, node, line_s);
            inject(&mut matrix, node, line_s.scaled(source_v));
            inject(&mut matrix, STAR, line_s.scaled(-source_v));
            between(&mut matrix, node, PE, Complex::imaginary(omega * self.fixed.c_y));
        }
        let across_s = Complex {
            re: self.fixed.standby_s + self.switching.drawn_s,
            im: omega * self.fixed.c_x,
        };
        between(&mut matrix, IN_L, IN_N, across_s);
        self.add_earths(&mut matrix, omega, is_fundamental);
        self.add_contactor(&mut matrix, omega);
        self.add_outlet(&mut matrix, omega);
        let out_a = if is_fundamental {
            self.add_load(&mut matrix)
        } else {
            Complex::ZERO
        };
        let volts = eliminate(matrix);
        let in_a = (Complex::real(e_l) + volts[STAR] - volts[IN_L]) * line_s;
        let leaking_v = volts[IN_L] + volts[IN_N] - volts[PE].scaled(2.0);
        let pe_a = leaking_v * Complex::imaginary(omega * self.fixed.c_y);
        Solution {
            volts,
            out_a,
            in_a,
            pe_a,
        }
    }

    fn sources_v(&self, volts: f64) -> (f64, f64) {
        if self.fixed.split {
            (0.5 * volts, -0.5 * volts)
        } else {
            (volts, 0.0)
        }
    }

    fn add_earths(&self, matrix: &mut Matrix, omega: f64, is_fundamental: bool) {
        let mut pe_ohm = self.fixed.r_pe;
        match self.fixed.earthing {
            Earthing::Tn => to_earth(matrix, STAR, Complex::real(SOLID_S)),
            Earthing::Tt {
                source_ohm,
                electrode_ohm,
                neutral_v,
            } => {
                pe_ohm += electrode_ohm;
                let star_s = Complex::real(1.0 / source_ohm.max(LEAST_OHM));
                to_earth(matrix, STAR, star_s);
                if is_fundamental {
                    inject(matrix, STAR, star_s.scaled(neutral_v));
                }
            }
            Earthing::It { star_ohm, conductor_f } => {
                to_earth(matrix, STAR, Complex::real(1.0 / star_ohm));
                for node in [IN_L, IN_N] {
                    to_earth(matrix, node, Complex::imaginary(omega * conductor_f));
                }
            }
        }
        to_earth(matrix, PE, Complex::real(1.0 / pe_ohm.max(LEAST_OHM)));
    }

    fn add_contactor(&self, matrix: &mut Matrix, omega: f64) {
        let pins = if self.fixed.crossed {
            [OUT_N, OUT_L]
        } else {
            [OUT_L, OUT_N]
        };
        for pole in 0..2 {
            let admittance = if self.switching.poles[pole] {
                Complex::real(1.0 / self.r_poles[pole].max(LEAST_OHM))
            } else {
                Complex::imaginary(omega * self.fixed.c_stray)
            };
            between(matrix, [IN_L, IN_N][pole], pins[pole], admittance);
        }
    }

    fn add_outlet(&self, matrix: &mut Matrix, omega: f64) {
        let burden_s = if self.switching.burden {
            1.0 / self.fixed.r_burden
        } else {
            0.0
        };
        let pair = Complex::real(1.0 / self.fixed.r_meter + burden_s);
        let earth = Complex {
            re: pair.re,
            im: omega * self.fixed.c_out,
        };
        between(matrix, OUT_L, OUT_N, pair);
        between(matrix, OUT_L, PE, earth);
        between(matrix, OUT_N, PE, earth);
        between(matrix, OUT_L, PE, Complex::real(1.0 / self.fixed.r_iso));
    }

    /// The load takes a sine in phase with the source.
    fn add_load(&self, matrix: &mut Matrix) -> Complex {
        let amps = self.switching.flowing_a();
        let out_a = Complex::real(if self.fixed.crossed { -amps } else { amps });
        inject(matrix, OUT_L, out_a.scaled(-1.0));
        inject(matrix, OUT_N, out_a);
        out_a
    }
}

/// Whether a node is a wave of the mains.
fn of_mains(node: Node) -> bool {
    matches!(
        node,
        Node::Out(_) | Node::In(_) | Node::Path(_) | Node::OutCurrent | Node::InCurrent
    )
}

impl Phasors {
    /// The phasors of what a node names; `None` for what is no wave of the mains.
    pub(in super::super) fn of(&self, node: Node) -> Option<[Complex; ORDERS.len()]> {
        if !of_mains(node) {
            return None;
        }
        Some(self.orders.map(|solution| solution.of(node)))
    }

    /// A of each order that leak from the input conductors to the item's PE.
    pub(in super::super) fn leaking(&self) -> [Complex; ORDERS.len()] {
        self.orders.map(|solution| solution.pe_a)
    }

    /// V rms of the item's PE to earth.
    pub(in super::super) fn earth_v(&self) -> f64 {
        libm::sqrt(self.orders.iter().map(|solution| solution.volts[PE].norm()).sum())
    }
}

impl Solution {
    fn of(&self, node: Node) -> Complex {
        let v = &self.volts;
        match node {
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
            _ => Complex::ZERO,
        }
    }
}

/// A current into a node.
fn inject(matrix: &mut Matrix, node: usize, amps: Complex) {
    matrix[node][RIGHT] = matrix[node][RIGHT] + amps;
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

/// Gaussian elimination with a pivot in each column.
fn eliminate(mut matrix: Matrix) -> [Complex; NODES] {
    for column in 0..NODES {
        let pivot = (column..NODES)
            .max_by(|&a, &b| matrix[a][column].norm().total_cmp(&matrix[b][column].norm()))
            .unwrap_or(column);
        matrix.swap(column, pivot);
        let above = matrix[column];
        for row in &mut matrix[column + 1..] {
            if row[column] == Complex::ZERO {
                continue;
            }
            let factor = row[column] / above[column];
            for (cell, above) in row.iter_mut().zip(above).skip(column) {
                *cell = *cell - factor * above;
            }
        }
    }
    let mut solution = [Complex::ZERO; NODES];
    for row in (0..NODES).rev() {
        let mut sum = matrix[row][RIGHT];
        for k in row + 1..NODES {
            sum = sum - matrix[row][k] * solution[k];
        }
        solution[row] = sum / matrix[row][row];
    }
    solution
}
