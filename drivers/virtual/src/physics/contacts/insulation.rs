//! Every leak between two contacts as one network of conductances, and the insulation instrument on it.

use super::super::api::Core;
use super::super::values::Values;

/// A short-circuited insulation instrument gives 1 mA (IEC 61557-2, the least).
const SHORT_A: f64 = 1e-3;
/// The instrument discharges through this when it goes off, Ω.
const DISCHARGE_OHM: f64 = 100e3;

/// Conductances between contacts, S.
#[derive(Debug, Clone, Default)]
pub(super) struct Leaks {
    siemens: [[f64; 5]; 5],
    burden: Option<f64>,
    /// F that the instrument charges.
    farad: f64,
}

impl Leaks {
    pub(super) fn burden(&mut self, ohm: Option<f64>) {
        self.burden = ohm;
    }

    pub(super) fn renew(&mut self, values: &Values, cable: bool, proximity_ohm: f64) {
        let power = values.get("r_iso");
        let mut siemens = [[0.0; 5]; 5];
        let mut put = |first: Core, second: Core, ohm: f64| {
            let (a, b) = (first as usize, second as usize);
            siemens[a][b] += 1.0 / ohm.max(1e-3);
            siemens[b][a] = siemens[a][b];
        };
        for (first, second) in [
            (Core::L, Core::N),
            (Core::L, Core::Pe),
            (Core::N, Core::Pe),
            (Core::L, Core::Cp),
            (Core::N, Core::Cp),
        ] {
            put(first, second, power);
        }
        put(Core::L, Core::Pe, values.get("r_wet"));
        put(Core::N, Core::Pe, values.get("r_wet"));
        put(Core::Cp, Core::Pe, values.get("r_cp_leak"));
        put(Core::Cp, Core::Pp, values.get("r_cp_pp"));
        put(Core::Pp, Core::Pe, proximity_ohm);
        self.siemens = siemens;
        self.farad = values.get("c_cp")
            + if cable {
                values.get("c_cable") * values.get("cable_length")
            } else {
                0.0
            };
    }

    pub(super) fn farad(&self) -> f64 {
        self.farad
    }

    /// Ω between two contacts: the network as seen from them (one ampere in, one out, second contact at zero).
    pub(super) fn between(&self, first: Core, second: Core) -> f64 {
        self.potentials(first, second)[first as usize]
    }

    /// V of every contact above the second one for one ampere from the first to the second.
    pub(super) fn potentials(&self, first: Core, second: Core) -> [f64; 5] {
        let ground = second as usize;
        let burden = self.burden.map_or(0.0, |ohm| 1.0 / ohm);
        let mut rows: [[f64; 6]; 5] = std::array::from_fn(|a| {
            let mut row = [0.0; 6];
            for b in (0..5).filter(|b| *b != a) {
                let siemens = self.siemens[a][b] + burden;
                row[a] += siemens;
                row[b] -= siemens;
            }
            row
        });
        rows[first as usize][5] = 1.0;
        rows[ground] = [0.0; 6];
        rows[ground][ground] = 1.0;
        solved(rows)
    }
}

/// Gaussian elimination with the largest pivot.
fn solved(mut rows: [[f64; 6]; 5]) -> [f64; 5] {
    for column in 0..5 {
        let pivot = (column..5).fold(column, |best, row| {
            if libm::fabs(rows[row][column]) > libm::fabs(rows[best][column]) {
                row
            } else {
                best
            }
        });
        rows.swap(column, pivot);
        let lead = rows[column];
        if lead[column] == 0.0 {
            continue;
        }
        for (row, line) in rows.iter_mut().enumerate() {
            if row != column {
                let share = line[column] / lead[column];
                line.iter_mut().zip(lead).for_each(|(to, from)| *to -= share * from);
            }
        }
    }
    std::array::from_fn(|k| {
        if rows[k][k] == 0.0 {
            0.0
        } else {
            rows[k][5] / rows[k][k]
        }
    })
}

/// The insulation instrument.
#[derive(Debug, Clone, Default)]
pub(super) struct Tester {
    pub(super) on: bool,
    pub(super) volts: f64,
    pair: Option<(Core, Core)>,
    /// V that were there when it went off, when that was, and with which time constant they go.
    left: Option<(f64, f64, f64)>,
}

impl Tester {
    pub(super) fn switch(&mut self, on: bool, now_s: f64, leaks: &Leaks) {
        if self.on && !on {
            let volts = self
                .pair
                .map_or(0.0, |(first, second)| self.at_pair(first, second, leaks));
            self.left = Some((volts, now_s, DISCHARGE_OHM * leaks.farad()));
        }
        self.on = on;
    }

    pub(super) fn lead(&mut self, first: Core, second: Core) {
        self.pair = Some((first, second));
    }

    /// V at the pair that it is led to: what its own resistance leaves.
    fn at_pair(&self, first: Core, second: Core, leaks: &Leaks) -> f64 {
        let (load, own) = (leaks.between(first, second), self.volts / SHORT_A);
        self.volts * load / (load + own.max(1.0))
    }

    /// V between two contacts at a moment.
    pub(super) fn volts_between(&self, first: Core, second: Core, at_s: f64, leaks: &Leaks) -> f64 {
        let Some((plus, minus)) = self.pair else { return 0.0 };
        let there = match (self.on, self.left) {
            (true, _) => self.at_pair(plus, minus, leaks),
            (false, Some((volts, since_s, tau_s))) => volts * libm::exp(-(at_s - since_s).max(0.0) / tau_s.max(1e-9)),
            (false, None) => 0.0,
        };
        let potentials = leaks.potentials(plus, minus);
        let whole = potentials[plus as usize];
        if whole <= 0.0 {
            return 0.0;
        }
        there * (potentials[first as usize] - potentials[second as usize]) / whole
    }
}
