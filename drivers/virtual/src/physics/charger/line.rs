//! The pilot line of a charger: the bench's source on one side, the vehicle's diode with R2, R3 and S2 on the other. The circuit
//! and its edges are those of the pilot of every item.

use super::super::api::PilotSource;
use super::super::pilot::{Circuit, Diode, Drive, Hum, Load, Pwm, Segment};
use super::super::values::Values;
use super::bench::Bench;

/// Room temperature for which the diode's forward voltage is stated, K.
const COLD_K: f64 = 298.15;
/// Resistance of the bench's relay that shorts the pilot to PE, Ω.
const SHORT_OHM: f64 = 0.1;

/// What never changes on the line.
#[derive(Debug, Clone)]
pub(super) struct Line {
    pub(super) r_source: f64,
    pub(super) r_meter: f64,
    slew_s: f64,
    capacitance: f64,
    r_leak: f64,
    r2: f64,
    r3: f64,
    diode: Diode,
    r_diode_reverse: f64,
    shorted: bool,
    open: bool,
    seed: u64,
}

impl Line {
    pub(super) fn new(values: &Values, seed: u64) -> Self {
        Self {
            r_source: values.get("bench_r_source"),
            r_meter: values.get("bench_r_meter"),
            // 10 to 90 % is 0.8 of a straight ramp.
            slew_s: values.get("bench_t_rise") / 0.8,
            capacitance: values.get("bench_c_source") + values.get("c_vehicle"),
            r_leak: values.get("r_cp_leak"),
            r2: values.get("r2"),
            r3: values.get("r3"),
            diode: Diode {
                at_5_ma_v: values.get("diode_v") + values.get("diode_tc") * (values.get("ambient") - COLD_K),
                slope_v: values.get("diode_slope"),
            },
            r_diode_reverse: values.get("r_diode_reverse"),
            shorted: values.yes("diode_shorted"),
            open: values.yes("diode_open"),
            seed,
        }
    }

    /// The vehicle's resistor behind the diode, Ω.
    fn resistor(&self, s2: bool) -> f64 {
        if s2 { parallel(self.r2, self.r3) } else { self.r2 }
    }

    fn load(&self, s2: bool) -> Load {
        let ohm = self.resistor(s2);
        match (self.shorted, self.open) {
            (_, true) => Load::None,
            (true, _) => Load::Resistor(ohm),
            _ => Load::LeakyDiode(ohm, self.r_diode_reverse),
        }
    }

    /// The line as it stands from `start_s` on; its history fills in how pilot and source stand.
    pub(super) fn segment(&self, start_s: f64, bench: &Bench, s2: bool) -> Segment {
        let (high_v, low_v) = bench.rails_v();
        let drive = self.drive(start_s, bench);
        let connected = bench.connected();
        let (r_source, r_leak) = match (connected, bench.source) {
            (false, _) => (self.r_meter, self.r_leak),
            (true, PilotSource::Shorted) => (self.r_source, parallel(self.r_leak, SHORT_OHM)),
            _ => (self.r_source, self.r_leak),
        };
        let added_f = if connected { bench.added_f } else { 0.0 };
        let source_v = if connected { high_v } else { 0.0 };
        Segment {
            start_s,
            pilot_v: 0.0,
            source_v: 0.0,
            drive,
            circuit: Circuit::new(
                (r_source, source_v),
                r_leak,
                self.capacitance + added_f,
                self.load(s2),
                self.diode,
            ),
            rails_v: (high_v, low_v),
            slew: (high_v - low_v).max(0.1) / self.slew_s,
            hum: Hum {
                peak_v: 0.0,
                omega: 0.0,
            },
        }
    }

    fn drive(&self, now_s: f64, bench: &Bench) -> Drive {
        let (high_v, low_v) = bench.rails_v();
        let period_s = 1.0 / bench.frequency;
        match bench.source {
            PilotSource::Off | PilotSource::Check | PilotSource::CheckHigh | PilotSource::CheckLow => {
                Drive::Steady(0.0)
            }
            PilotSource::Steady | PilotSource::Shorted => Drive::Steady(high_v),
            PilotSource::Fault => Drive::Steady(low_v),
            PilotSource::Pwm | PilotSource::PositiveOnly => Drive::Pwm(Pwm {
                epoch_s: bench.epoch_s.unwrap_or(now_s),
                period_s,
                high_s: bench.duty * period_s,
                jitter_s: bench.jitter * period_s,
                seed: self.seed,
            }),
        }
    }

    /// Pilot to PE with the meter's plus on PE: leak, and whatever the diode lets through the wrong way, beside the bench's inputs.
    pub(super) fn reverse_ohm(&self) -> f64 {
        let through = match (self.shorted, self.open) {
            (_, true) => f64::INFINITY,
            (true, _) => self.r2,
            _ => self.r2 + self.r_diode_reverse,
        };
        parallel(parallel(self.r_leak, self.r_meter), through)
    }
}

/// Two resistors side by side, Ω; an infinite one is none.
pub(super) fn parallel(a: f64, b: f64) -> f64 {
    1.0 / (1.0 / a + 1.0 / b)
}
