//! What can be measured of the power side while it is dead: DC output, insulation, bond, interlock loop, capacitances.

use super::super::super::api::{DcPair, DeadPath, Insulated, Pair};
use super::super::OnboardCharger;
use super::super::line::parallel;

/// V above which a contact is not dead.
const DEAD_V: f64 = 1.0;

/// The real part of a capacitor with a resistance in series (`own`), both beside a resistor: `Re((r − jX)·R / (r + R − jX))`.
fn in_series(own: f64, reactance: f64, beside: f64) -> f64 {
    let (sum, square) = (own + beside, reactance * reactance);
    beside * (own * sum + square) / (sum * sum + square)
}

impl OnboardCharger {
    /// Ω of what is dead; `None` where it is live, or no such path.
    pub(in super::super) fn power_ohm(&self, what: DeadPath) -> Option<f64> {
        let get = |name: &str| self.values.get(name);
        let meter = get("bench_r_meter");
        match what {
            DeadPath::Dc(pair) if self.is_output_dead() => {
                let burden = self.burden_ohm();
                let across = parallel(self.power.parts.r_out, burden);
                let plus = parallel(get("r_iso_dc_plus"), burden);
                let minus = parallel(get("r_iso_dc_minus"), burden);
                Some(match pair {
                    DcPair::PlusMinus => parallel(across, plus + minus),
                    DcPair::PlusPe => parallel(parallel(plus, meter), minus + across),
                    DcPair::MinusPe => parallel(parallel(minus, meter), plus + across),
                })
            }
            DeadPath::Bond => Some(get("r_bond")),
            DeadPath::Isolation(which) if self.is_output_dead() && !self.is_fed() => Some(match which {
                Insulated::AcToChassis => get("r_iso") / 2.0,
                Insulated::DcPlusToChassis => get("r_iso_dc_plus"),
                Insulated::DcMinusToChassis => get("r_iso_dc_minus"),
                Insulated::AcToDc => get("r_iso_ac_dc"),
            }),
            DeadPath::InterlockLoop => {
                if self.values.yes("interlock_bridged") || self.power.loop_closed {
                    Some(get("r_interlock"))
                } else {
                    None
                }
            }
            _ => None,
        }
    }

    /// Ω of the burden on each pair of the output; an infinite one is none.
    fn burden_ohm(&self) -> f64 {
        if self.power.burdened {
            self.values.get("bench_burden")
        } else {
            f64::INFINITY
        }
    }

    /// Ω that the burdens put across the output: one beside the two others in a row.
    pub(super) fn burden_across_ohm(&self) -> f64 {
        let burden = self.burden_ohm();
        parallel(burden, 2.0 * burden)
    }

    /// F of what is dead.
    pub(in super::super) fn power_farad(&self, what: DeadPath) -> Option<f64> {
        let parts = &self.power.parts;
        let (x, y) = (parts.fixed.c_x, parts.fixed.c_y);
        match what {
            DeadPath::AcPins(_) if self.is_fed() => None,
            DeadPath::AcPins(Pair::LN) => Some(x + y / 2.0),
            // One to PE, and the other behind the X capacitor.
            DeadPath::AcPins(Pair::LPe | Pair::NPe) => Some(y + if x > 0.0 { x * y / (x + y) } else { 0.0 }),
            DeadPath::Dc(DcPair::PlusMinus) if self.is_output_dead() => Some(parts.c_out),
            _ => None,
        }
    }

    /// Ω in series with the capacitance of what is dead, as a bridge sees it at a frequency: the capacitor's own, and what the resistors
    /// beside it add.
    pub(in super::super) fn power_series_ohm(&self, what: DeadPath, hz: f64) -> Option<f64> {
        let parts = &self.power.parts;
        let (own, beside) = match what {
            DeadPath::Dc(DcPair::PlusMinus) => (
                self.values.get("esr_out"),
                parallel(parts.r_out, self.burden_across_ohm()),
            ),
            DeadPath::AcPins(Pair::LN) => (0.0, parts.r_x),
            _ => return None,
        };
        let reactance = 1.0 / (std::f64::consts::TAU * hz * self.power_farad(what)?);
        Some(in_series(own, reactance, beside))
    }

    /// Inside, and at the contacts.
    fn is_output_dead(&self) -> bool {
        let stretch = self.power.past.last();
        let contact_v = stretch.contact_v.at(stretch.since(self.now_s));
        self.power.state(self.now_s).dc_v < DEAD_V && libm::fabs(contact_v) < DEAD_V
    }
}
