//! Parameters of a world in the shape in which its parts use them.

use super::api::{PilotState, Setup};
use super::heat::{Foster, Loss, Power, Rise};
use super::mains::{Earthing, Fixed};
use super::pilot::{Circuit, Diode, Drive, Hum, Load, Pwm, Segment};
use super::values::Values;
use super::{Action, Generator};

/// The pilot generator and everything that always hangs on it.
#[derive(Debug, Clone)]
pub(super) struct PilotParts {
    pub(super) rails_v: (f64, f64),
    r_source: f64,
    r_leak: f64,
    capacitance: f64,
    slew: f64,
    hum_peak_v: f64,
    period_s: f64,
    jitter: f64,
    tick_s: f64,
    seed: u64,
    diode: Diode,
    leads: DiodeLeads,
    /// The relay that shorts the diode does so.
    shorts: bool,
    resistors: [f64; 4],
    r_relay: f64,
}

/// What the bench has put onto the pilot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct PilotSwitches {
    pub(super) state: PilotState,
    /// The resistor last chosen, which `Check` shows to the meter, Ω.
    pub(super) chosen_ohm: Option<f64>,
    pub(super) shorted: bool,
    pub(super) added_f: f64,
}

/// Resistances and heat of the power path.
#[derive(Debug, Clone)]
pub(super) struct Paths {
    pub(super) foster: Foster,
    pub(super) ambient_k: f64,
    r_pole: f64,
    alpha: f64,
    wear: f64,
    /// One conductor of the cable at 20 °C, Ω.
    r_cable: f64,
    derates: bool,
    derate_k: (f64, f64),
    sensor_offset_k: f64,
}

/// Temperature for which `r_pole` is stated, K.
const COLD_K: f64 = 298.15;
/// Temperature for which the copper of the cable is stated, K.
const COPPER_COLD_K: f64 = 293.15;
/// Growth of copper's resistance with its temperature (IEC 60228), 1/K.
const COPPER_PER_K: f64 = 0.003_93;

/// How the bench's diode is wired.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum DiodeLeads {
    Right,
    Exchanged,
    Broken,
}

impl DiodeLeads {
    fn new(values: &Values) -> Self {
        if values.yes("bench_diode_broken") {
            Self::Broken
        } else if values.yes("bench_diode_reversed") {
            Self::Exchanged
        } else {
            Self::Right
        }
    }
}

impl PilotParts {
    pub(super) fn new(values: &Values, setup: &Setup) -> Self {
        let tethered = setup.words.get("cable").is_none_or(|word| word != "socket");
        let cable_f = if tethered {
            values.get("c_cable") * values.get("cable_length")
        } else {
            0.0
        };
        let rails_v = (values.get("v_pos"), values.get("v_neg"));
        Self {
            rails_v,
            r_source: values.get("r_source"),
            r_leak: values.get("r_cp_leak"),
            capacitance: values.get("c_source") + cable_f,
            // 10 to 90 % is 0.8 of a straight ramp.
            slew: (rails_v.0 - rails_v.1).max(0.1) * 0.8 / values.get("t_rise"),
            hum_peak_v: 0.5 * values.get("v_hum"),
            period_s: 1.0 / values.get("f"),
            jitter: values.get("jitter"),
            tick_s: values.get("t_tick"),
            seed: setup.seed,
            diode: Diode {
                at_5_ma_v: values.get("bench_diode_v")
                    + values.get("bench_diode_tc") * (values.get("ambient") - COLD_K),
                slope_v: values.get("bench_diode_slope"),
            },
            leads: DiodeLeads::new(values),
            shorts: !values.yes("bench_diode_never_shorted"),
            resistors: ["bench_r_b", "bench_r_c", "bench_r_d", "bench_r_e"].map(|name| values.get(name)),
            r_relay: values.get("bench_r_relay"),
        }
    }

    /// Across the bench's diode at a current, V; `None` where it does not flow.
    pub(super) fn diode_drop(&self, switches: &PilotSwitches, amps: f64) -> Option<f64> {
        let drop_v = self.diode.at_5_ma_v + self.diode.slope_v * libm::log(amps / 5e-3);
        match self.leads {
            _ if switches.shorted => Some(amps * self.r_relay),
            DiodeLeads::Right => Some(drop_v),
            DiodeLeads::Exchanged | DiodeLeads::Broken => None,
        }
    }

    /// The bench's resistor of a state, Ω.
    pub(super) fn resistor(&self, state: PilotState) -> Option<f64> {
        let [b, c, d, e] = self.resistors;
        let beside = |x: f64| b * x / (b + x);
        match state {
            PilotState::B => Some(b + self.r_relay),
            PilotState::C => Some(beside(c) + self.r_relay),
            PilotState::D => Some(beside(d) + self.r_relay),
            PilotState::E => Some(e + self.r_relay),
            PilotState::A | PilotState::Open | PilotState::Check | PilotState::Ladder => None,
        }
    }

    /// The fine ladder with its path, Ω.
    pub(super) fn ladder(&self, ohm: f64) -> f64 {
        ohm.max(1e-3) + self.r_relay
    }

    /// The circuit that the generator sees.
    pub(super) fn circuit(&self, switches: &PilotSwitches) -> Circuit {
        let load = match (switches.state, switches.chosen_ohm) {
            (PilotState::E, Some(ohm)) => Load::Resistor(ohm),
            (PilotState::B | PilotState::C | PilotState::D | PilotState::Ladder, Some(ohm)) if switches.shorted => {
                Load::Resistor(ohm)
            }
            (PilotState::B | PilotState::C | PilotState::D | PilotState::Ladder, Some(ohm)) => match self.leads {
                DiodeLeads::Right => Load::Diode(ohm),
                DiodeLeads::Exchanged => Load::Reversed(ohm),
                DiodeLeads::Broken => Load::None,
            },
            _ => Load::None,
        };
        let source = (self.r_source, self.rails_v.0);
        Circuit::new(
            source,
            self.r_leak,
            self.capacitance + switches.added_f,
            load,
            self.diode,
        )
    }

    /// What the source does for the generator, from `now_s` on.
    pub(super) fn drive(&self, generator: Generator, now_s: f64) -> Drive {
        match generator {
            Generator::Off => Drive::Steady(0.0),
            Generator::High => Drive::Steady(self.rails_v.0),
            Generator::Low => Drive::Steady(self.rails_v.1),
            Generator::Pwm(duty) => Drive::Pwm(Pwm {
                epoch_s: now_s,
                period_s: self.period_s,
                high_s: self.quantised(duty * self.period_s),
                jitter_s: self.jitter * self.period_s,
                seed: self.seed,
            }),
        }
    }

    fn quantised(&self, high_s: f64) -> f64 {
        if self.tick_s > 0.0 {
            libm::round(high_s / self.tick_s) * self.tick_s
        } else {
            high_s
        }
    }

    /// A segment from `start_s` on; its history fills in how pilot and source stand.
    pub(super) fn segment(&self, start_s: f64, drive: Drive, circuit: Circuit, hum: Hum) -> Segment {
        Segment {
            start_s,
            pilot_v: 0.0,
            source_v: 0.0,
            drive,
            circuit,
            rails_v: self.rails_v,
            slew: self.slew,
            hum,
        }
    }

    /// Hum of a supply that is on, or of none.
    pub(super) fn hum(&self, supplied: bool, frequency: f64) -> Hum {
        Hum {
            peak_v: if supplied { self.hum_peak_v } else { 0.0 },
            omega: 2.0 * core::f64::consts::PI * frequency,
        }
    }
}

impl PilotSwitches {
    /// What an action does to them; actions of other parts leave them alone.
    pub(super) fn act(&mut self, parts: &PilotParts, action: Action) {
        match action {
            Action::PilotLoad(PilotState::Check) => self.state = PilotState::Check,
            Action::PilotLoad(PilotState::Ladder) => self.state = PilotState::Ladder,
            Action::PilotLoad(state) => {
                self.state = state;
                self.chosen_ohm = parts.resistor(state);
            }
            Action::PilotResistance(ohm) if ohm > 0.0 => {
                self.chosen_ohm = Some(parts.ladder(ohm));
                if self.state != PilotState::Check {
                    self.state = PilotState::Ladder;
                }
            }
            Action::PilotResistance(_) if self.state == PilotState::Ladder => {
                self.state = PilotState::A;
                self.chosen_ohm = None;
            }
            Action::PilotDiode { shorted } => self.shorted = shorted && parts.shorts,
            Action::PilotCapacitance(farad) => self.added_f = farad.max(0.0),
            _ => {}
        }
    }
}

impl Paths {
    pub(super) fn new(values: &Values) -> Self {
        Self {
            foster: Foster {
                r_th: ["r_th_contact", "r_th_terminal", "r_th_cable"].map(|name| values.get(name)),
                tau_s: ["tau_contact", "tau_terminal", "tau_cable"].map(|name| values.get(name)),
            },
            ambient_k: values.get("ambient"),
            r_pole: values.get("r_pole"),
            alpha: values.get("alpha"),
            wear: values.get("wear"),
            r_cable: values.r_cable(),
            derates: values.yes("k_T"),
            derate_k: (values.get("t_derate_low"), values.get("t_derate_high")),
            sensor_offset_k: values.get("sensor_offset"),
        }
    }

    fn r_cold(&self, operations: u64) -> f64 {
        self.r_pole + self.wear * operations as f64
    }

    /// One conductor of the cable in the room, Ω.
    fn r_cable_cold(&self) -> f64 {
        self.r_cable * (1.0 + COPPER_PER_K * (self.ambient_k - COPPER_COLD_K))
    }

    /// One pole with its cable, Ω.
    pub(super) fn r_path(&self, operations: u64, rise: Rise) -> f64 {
        let contact_k = self.ambient_k + rise.contact_k() - COLD_K;
        let cable = self.r_cable_cold() + self.r_cable * COPPER_PER_K * rise.cable_k();
        self.r_cold(operations) * (1.0 + self.alpha * contact_k) + cable
    }

    /// What heats one pole with its cable under a current.
    pub(super) fn power(&self, operations: u64, amps: f64) -> Power {
        let (square, r_cold) = (amps * amps, self.r_cold(operations));
        Power {
            contact: Loss {
                cold_w: square * r_cold * (1.0 + self.alpha * (self.ambient_k - COLD_K)),
                per_k: square * r_cold * self.alpha,
            },
            cable: Loss {
                cold_w: square * self.r_cable_cold(),
                per_k: square * self.r_cable * COPPER_PER_K,
            },
        }
    }

    /// How much of the set current is signalled at this rise of the terminal, where the sensor is.
    pub(super) fn derating(&self, rise_k: f64) -> f64 {
        let (low_k, high_k) = self.derate_k;
        if !self.derates {
            return 1.0;
        }
        let sensed_k = self.ambient_k + rise_k + self.sensor_offset_k;
        ((high_k - sensed_k) / (high_k - low_k).max(1e-3)).clamp(0.0, 1.0)
    }
}

/// What never changes in the mains network.
pub(super) fn fixed_network(values: &Values, setup: &Setup) -> Fixed {
    let nominal_v = values.get("supply_voltage").max(1.0);
    Fixed {
        z_source: values.get("z_source"),
        l_source: values.get("l_source"),
        harmonics: ["supply_h3", "supply_h5", "supply_h7"].map(|name| values.get(name)),
        earthing: earthing(values, setup),
        r_pe: values.get("r_pe"),
        c_x: 0.0,
        c_y: values.get("c_y"),
        r_iso: values.get("r_iso"),
        c_stray: values.get("c_stray"),
        c_out: values.get("c_out"),
        standby_s: values.get("p_standby") / (nominal_v * nominal_v),
        r_meter: values.get("bench_r_meter"),
        r_burden: values.get("bench_burden"),
        crossed: values.yes("perm"),
        split: setup.words.get("phases").is_some_and(|word| word == "split"),
    }
}

/// By the word of the nameplate; TN without one.
fn earthing(values: &Values, setup: &Setup) -> Earthing {
    match setup.words.get("earthing").map(String::as_str) {
        Some("tt") => Earthing::Tt {
            source_ohm: values.get("r_source_earth"),
            electrode_ohm: values.get("r_electrode"),
            neutral_v: values.get("v_neutral"),
        },
        Some("it") => Earthing::It {
            star_ohm: values.get("r_it"),
            conductor_f: values.get("c_it"),
        },
        _ => Earthing::Tn,
    }
}

/// Resistance of the whole path from the item's PE to earth, Ω.
pub(super) fn pe_ohm(fixed: &Fixed) -> f64 {
    match fixed.earthing {
        Earthing::Tt { electrode_ohm, .. } => fixed.r_pe + electrode_ohm,
        Earthing::Tn | Earthing::It { .. } => fixed.r_pe,
    }
}
