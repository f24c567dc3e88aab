//! What the power side is made of, and its laws for a moment: losses, what a current limit allows, distortion of the current.

use super::super::super::heat::Foster;
use super::super::super::mains::{Complex, Earthing, Fixed, order};
use super::super::super::values::Values;
use super::rectifier::Path;

/// Odd orders of the input's current that are reckoned with: 1, 3 … 39.
pub(super) const CURRENT_ORDERS: usize = 20;
/// V for which the losses are stated.
const LOSS_V: f64 = 230.0;
/// K of the junction for which the losses are stated.
const COLD_K: f64 = 298.15;
/// Of the conduction losses, those of one transistor.
const ONE_TRANSISTOR: f64 = 1.0 / 3.0;
/// Orders 3, 5 … 39 of the distortion, as ratios to each other.
const SHAPE: [f64; CURRENT_ORDERS - 1] = [
    0.68, 0.40, 0.27, 0.18, 0.14, 0.11, 0.09, 0.09, 0.09, 0.09, 0.09, 0.09, 0.09, 0.09, 0.09, 0.09, 0.09, 0.09, 0.09,
];

/// The source as the charger sees it at a moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Seen {
    /// V rms behind the supply's impedance.
    pub(super) source_v: f64,
    /// 1/s
    pub(super) omega: f64,
}

/// Constants of the power side, in the order of the way that power takes.
#[allow(clippy::struct_excessive_bools, reason = "each is one habit or one broken part")]
#[derive(Debug, Clone)]
pub(super) struct Parts {
    pub(super) fixed: Fixed,
    pub(super) c_x: f64,
    pub(super) r_x: f64,
    pub(super) r_x_active: f64,
    pub(super) t_x_active_s: f64,
    pub(super) back_feed_v: f64,
    pub(super) ac_open: bool,
    r_inrush: f64,
    r_bypass: f64,
    l_pfc: f64,
    pub(super) c_bulk: f64,
    pub(super) bulk_v: f64,
    pub(super) bulk_low_v: f64,
    pub(super) r_bulk: f64,
    pub(super) r_bulk_active: f64,
    rated_a: f64,
    draw_ratio: f64,
    losses: (f64, f64, f64),
    k_temperature: f64,
    rds_factor: f64,
    stages: (f64, f64),
    thd: f64,
    pub(super) dc_rated_v: f64,
    pub(super) dc_rated_a: f64,
    pub(super) v_sense_gain: f64,
    pub(super) i_sense_gain: f64,
    pub(super) i_limit: f64,
    pub(super) c_out: f64,
    pub(super) l_out: f64,
    pub(super) r_out: f64,
    pub(super) r_out_active: f64,
    pub(super) r_precharge: f64,
    pub(super) r_relay: f64,
    /// Past the open relay, outwards only.
    pub(super) r_beside_relay: f64,
    pub(super) precharge_open: bool,
    pub(super) precharge_dv: f64,
    pub(super) dc_lowest_v: f64,
    pub(super) ovp_v: f64,
    pub(super) tau_cc_s: f64,
    pub(super) tau_cv_s: f64,
    /// Of the output's current, for the whole of the bulk's ripple.
    pub(super) rejection: f64,
    /// A of the output choke's triangle that reach the output.
    pub(super) switching_a: f64,
    pub(super) switching_hz: f64,
    pub(super) dc_to_pe_a: f64,
    pub(super) r_sink: f64,
    /// What plus and minus of the floating output have of its voltage against PE, the meter beside each.
    pub(super) shares_to_pe: (f64, f64),
    derate_k: (f64, f64),
    pub(super) stop_k: f64,
    pub(super) sensor_offset_k: f64,
    pub(super) no_derating: bool,
    pub(super) no_hot_stop: bool,
    pub(super) crack_k: f64,
    foster: [f64; 8],
}

impl Parts {
    pub(super) fn new(values: &Values) -> Self {
        let get = |name: &str| values.get(name);
        let none = f64::INFINITY;
        let bled = |name: &str| {
            if values.yes("bleeder_open") {
                none
            } else {
                values.get(name)
            }
        };
        let beside_meter = |ohm: f64| 1.0 / (1.0 / ohm + 1.0 / values.get("bench_r_meter"));
        let esr = get("esr_out");
        let (plus, minus) = (beside_meter(get("r_iso_dc_plus")), beside_meter(get("r_iso_dc_minus")));
        Self {
            fixed: fixed(values),
            c_x: get("c_x"),
            r_x: beside_meter(get("r_x_discharge")),
            r_x_active: beside_meter(1.0 / (1.0 / get("r_x_discharge") + 1.0 / get("r_x_active"))),
            t_x_active_s: get("t_x_active"),
            back_feed_v: get("back_feed"),
            ac_open: values.yes("ac_fuse_open"),
            r_inrush: get("r_inrush"),
            r_bypass: get("r_bypass"),
            l_pfc: get("l_pfc"),
            c_bulk: get("c_bulk"),
            bulk_v: get("v_bulk"),
            bulk_low_v: get("v_bulk_low"),
            r_bulk: bled("r_bulk_bleed").min(1e9),
            r_bulk_active: 1.0 / (1.0 / bled("r_bulk_active").min(1e9) + 1.0 / bled("r_bulk_bleed").min(1e9)),
            rated_a: get("rated_current"),
            draw_ratio: get("draw_ratio"),
            losses: (get("p_zero"), get("k_one"), get("k_two")),
            k_temperature: get("k_temperature"),
            rds_factor: get("rds_factor"),
            stages: (get("stages").max(1.0), get("stages_dead")),
            thd: get("thd") / get("pfc_bandwidth").max(0.01),
            dc_rated_v: get("dc_voltage"),
            dc_rated_a: get("dc_current"),
            v_sense_gain: get("v_sense_gain").max(0.01),
            i_sense_gain: get("i_sense_gain").max(0.01),
            i_limit: get("i_limit"),
            c_out: get("c_out").max(1e-9),
            l_out: get("l_out"),
            r_out: beside_meter(bled("r_out_bleed")),
            r_out_active: beside_meter(1.0 / (1.0 / bled("r_out_active") + 1.0 / bled("r_out_bleed"))),
            r_precharge: get("r_precharge").max(0.01),
            r_relay: get("r_dc_relay").max(1e-3),
            r_beside_relay: get("r_beside_relay").max(100.0),
            precharge_open: values.yes("precharge_open"),
            precharge_dv: get("precharge_dv"),
            dc_lowest_v: get("dc_lowest"),
            ovp_v: get("ovp_ratio") * get("dc_voltage"),
            tau_cc_s: 1.0 / (2.0 * core::f64::consts::PI * get("bandwidth_cc").max(1.0)),
            tau_cv_s: 1.0 / (2.0 * core::f64::consts::PI * get("bandwidth_cv").max(1.0)),
            rejection: get("ripple_rejection"),
            switching_a: 0.5 * get("i_switching") * esr / (esr + get("bench_r_sink").max(1e-4)),
            switching_hz: get("f_switching"),
            dc_to_pe_a: get("dc_to_pe"),
            r_sink: get("bench_r_sink"),
            shares_to_pe: (plus / (plus + minus), -minus / (plus + minus)),
            derate_k: (get("t_derate_low"), get("t_derate_high")),
            stop_k: get("t_hot_stop"),
            sensor_offset_k: get("t_sensor_offset"),
            no_derating: values.yes("no_derating"),
            no_hot_stop: values.yes("no_hot_stop"),
            crack_k: get("crack_rise"),
            foster: [
                "r_th_junction",
                "tau_junction",
                "r_th_case",
                "tau_case",
                "r_th_coolant",
                "tau_coolant",
                "r_th_no_flow",
                "tau_no_flow",
            ]
            .map(get),
        }
    }

    /// Between the source and the bulk capacitor, through the inrush resistor or beside it.
    pub(super) fn path(&self, bypassed: bool) -> Path {
        let series = if bypassed {
            1.0 / (1.0 / self.r_inrush.max(1e-3) + 1.0 / self.r_bypass.max(1e-3))
        } else {
            self.r_inrush
        };
        Path {
            ohm: self.fixed.z_source + series,
            henry: self.fixed.l_source + self.l_pfc,
            farad: self.c_bulk,
        }
    }

    /// The way from junction to coolant, flowing or not.
    pub(super) fn foster(&self, flows: bool) -> Foster {
        let [rj, tj, rc, tc, r_flow, t_flow, r_still, t_still] = self.foster;
        let (r, t) = if flows { (r_flow, t_flow) } else { (r_still, t_still) };
        Foster {
            r_th: [rj, rc, r],
            tau_s: [tj, tc, t],
        }
    }

    /// 1 where it is cold, falling to 0, by what the sensor says.
    pub(super) fn derating(&self, sensed_k: f64) -> f64 {
        let (low, high) = self.derate_k;
        if self.no_derating {
            1.0
        } else {
            ((high - sensed_k) / (high - low).max(0.1)).clamp(0.0, 1.0)
        }
    }

    /// W/W² of the conduction losses.
    fn conduction(&self, dc_v: f64, in_v: f64, junction_k: f64) -> f64 {
        let (_, _, k_two) = self.losses;
        let (all, dead) = self.stages;
        let input = LOSS_V / in_v.max(20.0);
        // Half of them are the output's, which grow with its current.
        let output = self.dc_rated_v / dc_v.max(50.0);
        let hot = 1.0 + self.k_temperature * (junction_k - COLD_K);
        let transistor = 1.0 + ONE_TRANSISTOR * (self.rds_factor - 1.0);
        let shared = all / (all - dead).max(0.1);
        k_two * input * input * (0.5 + 0.5 * output * output) * hot.max(0.1) * transistor * shared
    }

    /// W lost for W out.
    pub(super) fn loss_w(&self, out_w: f64, dc_v: f64, in_v: f64, junction_k: f64) -> f64 {
        let (p_zero, k_one, _) = self.losses;
        p_zero + k_one * out_w + self.conduction(dc_v, in_v, junction_k) * out_w * out_w
    }

    /// W out for W in: the other way round.
    pub(super) fn output_w(&self, in_w: f64, dc_v: f64, in_v: f64, junction_k: f64) -> f64 {
        let (p_zero, k_one, _) = self.losses;
        let left = in_w - p_zero;
        if left <= 0.0 {
            return 0.0;
        }
        let k = self.conduction(dc_v, in_v, junction_k).max(1e-12);
        let one = 1.0 + k_one;
        2.0 * left / (one + libm::sqrt(one * one + 4.0 * k * left))
    }

    /// The most that the charger takes by itself, A rms.
    pub(super) fn own_limit_a(&self) -> f64 {
        let (all, dead) = self.stages;
        self.rated_a * ((all - dead) / all).clamp(0.0, 1.0)
    }

    /// Distortion of the current: its orders from 3 on together as a ratio of the first.
    fn thd(&self, first_a: f64) -> f64 {
        let load = (first_a / self.rated_a.max(1.0)).clamp(0.02, 1.5);
        self.thd * (0.8 + 0.2 / load)
    }

    /// W at the AC pins, and V rms there, for so many A rms in all.
    pub(super) fn input_w(&self, limit_a: f64, seen: Seen) -> f64 {
        let total = (limit_a * self.draw_ratio).max(0.0);
        let across_a = seen.omega * self.c_x * seen.source_v;
        let active = libm::sqrt((total * total - across_a * across_a).max(0.0));
        let mut first_a = active;
        for _ in 0..4 {
            let thd = self.thd(first_a);
            first_a = active / libm::sqrt(1.0 + thd * thd);
        }
        let x = seen.omega * self.fixed.l_source * first_a;
        let pins_v = libm::sqrt((seen.source_v * seen.source_v - x * x).max(0.0)) - self.fixed.z_source * first_a;
        pins_v.max(0.0) * first_a
    }

    /// What conductance takes so many W at the pins, S; V rms at the pins then.
    pub(super) fn conductance(&self, watt: f64, seen: Seen) -> (f64, f64) {
        let square = seen.source_v * seen.source_v;
        let (r, x) = (self.fixed.z_source, seen.omega * self.fixed.l_source);
        let b = seen.omega * self.c_x;
        let (m, n) = (1.0 - x * b, r * b);
        let unloaded = m * m + n * n;
        if square <= 0.0 || watt <= 0.0 {
            return (0.0, libm::sqrt(square / unloaded));
        }
        let linear = square - 2.0 * watt * (m * r + n * x);
        let rest = linear * linear - 4.0 * watt * watt * (r * r + x * x) * unloaded;
        if rest < 0.0 || linear <= 0.0 {
            // More than the supply can give: what takes the most from it.
            let siemens = libm::sqrt(unloaded / (r * r + x * x).max(1e-12));
            let (real, imaginary) = (m + r * siemens, n + x * siemens);
            return (siemens, libm::sqrt(square / (real * real + imaginary * imaginary)));
        }
        let siemens = 2.0 * watt * unloaded / (linear + libm::sqrt(rest));
        (siemens, libm::sqrt(watt / siemens))
    }

    /// A rms of each order from 3 on, in quadrature to the voltage so that they carry no power.
    pub(super) fn distortion(&self, first: Complex) -> [Complex; CURRENT_ORDERS] {
        let first_a = libm::sqrt(first.norm());
        let mut all = [Complex::ZERO; CURRENT_ORDERS];
        if first_a < 1e-6 {
            return all;
        }
        let whole = libm::sqrt(SHAPE.iter().map(|part| part * part).sum());
        let scale = self.thd(first_a) * first_a / whole;
        let angle = libm::atan2(first.im, first.re);
        for (place, part) in (1..).zip(SHAPE) {
            let sign = if place % 2 == 1 { -1.0 } else { 1.0 };
            let turned = Complex::unit(order(place) * angle);
            all[place] = turned * Complex::imaginary(sign * part * scale);
        }
        all
    }

    /// V rms at the pins of a source without a load.
    pub(super) fn idle_v(&self, seen: Seen) -> f64 {
        self.conductance(0.0, seen).1
    }

    /// Amplitude of the bulk's ripple at twice the supply's frequency, as a ratio of its mean.
    pub(super) fn ripple(&self, in_w: f64, omega: f64, bulk_v: f64) -> f64 {
        if bulk_v < 1.0 || omega < 1.0 {
            return 0.0;
        }
        in_w / (2.0 * omega * self.c_bulk * bulk_v * bulk_v)
    }
}

/// The line up to the AC pins: the same network as that of a wall unit, whose poles stay open.
fn fixed(values: &Values) -> Fixed {
    let get = |name: &str| values.get(name);
    Fixed {
        z_source: get("z_source"),
        l_source: get("l_source"),
        harmonics: ["supply_h3", "supply_h5", "supply_h7"].map(get),
        earthing: Earthing::Tn,
        r_pe: get("r_pe"),
        c_x: if values.yes("ac_fuse_open") { 0.0 } else { get("c_x") },
        c_y: get("c_y"),
        r_iso: 1e12,
        c_stray: 1e-15,
        c_out: 0.0,
        standby_s: 1.0 / get("r_x_discharge") + 1.0 / get("bench_r_meter"),
        r_meter: 1e9,
        r_burden: 1e9,
        crossed: false,
        split: false,
    }
}
