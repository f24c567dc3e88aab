//! What the item decides: which state it sees, what its generator does, and whether it drives its coil.
//!
//! It samples the settled pilot levels, passes them through a low-pass, compares them with thresholds that have
//! hysteresis, and believes a state after some samples that agree. Timers stand on top. Nothing here reads a table of
//! expected answers: a wrong threshold, filter or timer shows by itself.

use super::api::{Generator, Seen};
use super::values::Values;

/// What the logic is made of.
#[allow(clippy::struct_excessive_bools, reason = "each is one flag of a firmware")]
#[derive(Debug, Clone)]
pub(super) struct Settings {
    thresholds: [f64; 4],
    hysteresis: f64,
    th_vneg: f64,
    tau_s: f64,
    /// Sampling period, s.
    pub(super) t_sample: f64,
    debounce: u32,
    pwm_enable: bool,
    t_auth: f64,
    pwm_in_a: bool,
    rated_a: f64,
    map_wrong: bool,
    d_offset: f64,
    t_close: f64,
    t_open: f64,
    t_reclose: f64,
    t_recover: f64,
    check_vneg: bool,
    closes_in_b: bool,
    accepts_d: bool,
    check_short: bool,
    check_pe: bool,
    sense_weld: bool,
    overcurrent: Option<(f64, f64)>,
    signal_fault: bool,
    race: bool,
    closes_at_return: bool,
    frozen: bool,
}

/// What the logic senses besides the pilot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sensed {
    /// Mains present at the input.
    pub(super) mains: bool,
    /// The L output carries voltage.
    pub(super) output_live: bool,
    /// PE counts as lost.
    pub(super) pe_lost: bool,
    /// A rms through the output.
    pub(super) load_a: f64,
}

/// The state of the logic.
#[allow(clippy::struct_excessive_bools, reason = "each is one fact that the firmware keeps")]
#[derive(Debug, Clone)]
pub(super) struct Logic {
    settings: Settings,
    /// It has power and has booted.
    pub(super) running: bool,
    /// The state it believes.
    pub(super) seen: Seen,
    /// What its generator does.
    pub(super) generator: Generator,
    /// It drives its coil.
    pub(super) commanded: bool,
    /// It has latched a fault, until power is lost.
    pub(super) fault: bool,
    candidate: Seen,
    agreeing: u32,
    high_v: f64,
    low_v: f64,
    plugged_s: Option<f64>,
    unplugged_s: f64,
    ready_s: f64,
    ready_to_close_s: Option<f64>,
    open_s: Option<f64>,
    closed_s: f64,
    overload_s: Option<f64>,
    weld_s: Option<f64>,
    short_unplug: bool,
    closed_at_loss: bool,
    returned: bool,
    stalled: bool,
    was_short: bool,
    derating: f64,
}

/// Voltage at the output while open counts as a weld after this time, s.
const WELD_S: f64 = 0.5;
/// An unplugging shorter than this is a quick replug, s.
const QUICK_S: f64 = 1.0;

impl Settings {
    pub(super) fn new(values: &Values, ventilates: bool) -> Self {
        Self {
            thresholds: ["th_ab", "th_bc", "th_cd", "th_de"].map(|name| values.get(name)),
            hysteresis: values.get("th_hysteresis"),
            th_vneg: values.get("th_vneg"),
            tau_s: values.get("tau_state"),
            t_sample: values.get("t_sample"),
            debounce: values.get("debounce") as u32,
            pwm_enable: values.yes("pwm_enable"),
            t_auth: values.get("t_auth"),
            pwm_in_a: values.yes("pwm_in_a"),
            rated_a: values.rated_set_a(),
            map_wrong: values.yes("map"),
            d_offset: values.get("d_offset"),
            t_close: values.get("t_close_logic"),
            t_open: values.get("t_open_logic"),
            t_reclose: values.get("t_reclose"),
            t_recover: values.get("t_recover"),
            check_vneg: values.yes("check_vneg"),
            closes_in_b: values.yes("closes_in_b"),
            accepts_d: ventilates || values.yes("accepts_d"),
            check_short: values.yes("check_short"),
            check_pe: values.yes("check_pe"),
            sense_weld: values.yes("sense_weld"),
            overcurrent: values
                .yes("check_overcurrent")
                .then(|| (values.get("overcurrent_ratio"), values.get("t_overcurrent"))),
            signal_fault: values.yes("signal_fault"),
            race: values.yes("race_replug"),
            closes_at_return: values.yes("closes_at_return"),
            frozen: values.yes("frozen"),
        }
    }

    /// Duty cycle for a current: Tables A.7 and A.8 of IEC 61851-1:2017, as restated in charge-controller manuals. `None`: no offer.
    fn duty_for(&self, current_a: f64) -> Option<f64> {
        if current_a < 6.0 - 1e-9 {
            return None;
        }
        let ratio = if self.map_wrong || current_a <= 52.5 {
            current_a.min(if self.map_wrong { 58.0 } else { 51.0 }) / 60.0
        } else {
            (current_a / 2.5 + 64.0).min(96.0) / 100.0
        };
        Some((ratio + self.d_offset).clamp(0.0, 1.0))
    }
}

impl Logic {
    pub(super) fn new(settings: Settings) -> Self {
        Self {
            settings,
            running: false,
            seen: Seen::A,
            generator: Generator::Off,
            commanded: false,
            fault: false,
            candidate: Seen::A,
            agreeing: 0,
            high_v: 0.0,
            low_v: 0.0,
            plugged_s: None,
            unplugged_s: f64::NEG_INFINITY,
            ready_s: f64::NEG_INFINITY,
            ready_to_close_s: None,
            open_s: None,
            closed_s: f64::NEG_INFINITY,
            overload_s: None,
            weld_s: None,
            short_unplug: false,
            closed_at_loss: false,
            returned: false,
            stalled: false,
            was_short: false,
            derating: 1.0,
        }
    }

    /// Power is gone: everything is forgotten except that it was closed.
    pub(super) fn lose_power(&mut self) {
        let returned = self.settings.closes_at_return && (self.closed_at_loss || self.commanded);
        *self = Self {
            returned,
            ..Self::new(self.settings.clone())
        };
    }

    /// Power is there and the self-test is done; `high_v` is the high level that it first samples.
    pub(super) fn boot(&mut self, high_v: f64) {
        self.running = true;
        self.generator = Generator::High;
        self.high_v = high_v.max(self.settings.thresholds[0] + self.settings.hysteresis);
    }

    /// Sampling period, s.
    pub(super) fn t_sample(&self) -> f64 {
        self.settings.t_sample
    }

    /// How much of the set current is signalled, by temperature.
    pub(super) fn derate(&mut self, factor: f64) {
        self.derating = factor;
    }

    /// One sample of the settled levels; the low one only while PWM runs. True when something that counts has changed.
    pub(super) fn sample(&mut self, high_v: f64, low_v: Option<f64>) -> bool {
        let low_was_right = self.low_is_right();
        self.relax(high_v, low_v, 1.0);
        let raw = self.classify(self.high_v);
        if raw == self.candidate {
            self.agreeing = self.agreeing.saturating_add(1);
        } else {
            (self.candidate, self.agreeing) = (raw, 1);
        }
        let believes = raw != self.seen && self.agreeing >= self.settings.debounce;
        if believes {
            self.seen = raw;
        }
        believes || low_was_right != self.low_is_right()
    }

    /// Lets the low-pass pass `samples` equal samples at once.
    pub(super) fn relax(&mut self, high_v: f64, low_v: Option<f64>, samples: f64) {
        let left = if self.settings.tau_s > 0.0 {
            libm::exp(-samples * self.settings.t_sample / self.settings.tau_s)
        } else {
            0.0
        };
        self.high_v = high_v + (self.high_v - high_v) * left;
        self.low_v = low_v.map_or(0.0, |low_v| low_v + (self.low_v - low_v) * left);
    }

    /// Further samples of these levels, give or take `ripple_v`, would change nothing.
    pub(super) fn is_settled(&self, high_v: f64, low_v: Option<f64>, ripple_v: f64) -> bool {
        let sees = |v: f64| self.classify(v) == self.seen;
        let high = sees(self.high_v) && sees(high_v - ripple_v) && sees(high_v + ripple_v);
        let right = self.low_is_right();
        let low = low_v.is_none_or(|low_v| {
            let is_right = |v: f64| v < self.settings.th_vneg;
            is_right(low_v - ripple_v) == right && is_right(low_v + ripple_v) == right
        });
        high && low && self.candidate == self.seen
    }

    fn low_is_right(&self) -> bool {
        self.low_v < self.settings.th_vneg
    }

    /// Thresholds lie half a hysteresis away from the state that is believed now.
    fn classify(&self, high_v: f64) -> Seen {
        let states = [Seen::A, Seen::B, Seen::C, Seen::D, Seen::E];
        let now = states.iter().position(|&state| state == self.seen).unwrap_or(0);
        let below = |(boundary, threshold): (usize, &f64)| {
            let half = 0.5 * self.settings.hysteresis;
            high_v
                < if now > boundary {
                    threshold + half
                } else {
                    threshold - half
                }
        };
        let passed = self
            .settings
            .thresholds
            .iter()
            .enumerate()
            .filter(|&t| below(t))
            .count();
        match states[passed] {
            Seen::E if !self.settings.check_short => self.seen,
            state => state,
        }
    }

    /// Draws the consequences of what is seen and sensed at `now_s`.
    pub(super) fn decide(&mut self, now_s: f64, sensed: &Sensed) {
        if !self.running || self.stalled {
            return;
        }
        self.note_plug(now_s);
        self.note_faults(now_s, sensed);
        self.generator = self.generator_wanted(now_s);
        if !matches!(self.generator, Generator::Pwm(_)) {
            self.low_v = 0.0;
        }
        self.decide_coil(now_s, sensed);
    }

    fn note_plug(&mut self, now_s: f64) {
        match (self.seen, self.plugged_s) {
            (Seen::A, Some(_)) => {
                self.plugged_s = None;
                self.unplugged_s = now_s;
                self.returned = false;
            }
            (Seen::B | Seen::C | Seen::D, None) => {
                self.plugged_s = Some(now_s);
                self.short_unplug = now_s - self.unplugged_s < QUICK_S;
            }
            _ => {}
        }
        let short = self.seen == Seen::E;
        if short || self.was_short {
            self.ready_s = now_s + self.settings.t_recover;
        }
        self.was_short = short;
    }

    fn note_faults(&mut self, now_s: f64, sensed: &Sensed) {
        self.fault |= self.settings.check_pe && sensed.pe_lost;
        let welded = self.settings.sense_weld && sensed.output_live && !self.commanded;
        self.fault |= lasts(&mut self.weld_s, welded, now_s, WELD_S);
        if let Some((ratio, span_s)) = self.settings.overcurrent {
            let over = sensed.load_a > ratio * self.settings.rated_a;
            self.fault |= lasts(&mut self.overload_s, over, now_s, span_s);
        }
    }

    fn generator_wanted(&self, now_s: f64) -> Generator {
        if self.fault {
            return if self.settings.signal_fault {
                Generator::Low
            } else {
                Generator::High
            };
        }
        let offer = self.settings.duty_for(self.settings.rated_a * self.derating);
        let offers = self.is_authorised(now_s) || (self.settings.pwm_in_a && self.seen == Seen::A);
        match offer {
            Some(duty) if offers => Generator::Pwm(duty),
            _ => Generator::High,
        }
    }

    fn is_authorised(&self, now_s: f64) -> bool {
        let waited = |plugged_s: f64| now_s >= plugged_s + self.settings.t_auth && now_s >= self.ready_s;
        self.settings.pwm_enable && self.seen != Seen::E && self.plugged_s.is_some_and(waited)
    }

    fn decide_coil(&mut self, now_s: f64, sensed: &Sensed) {
        if sensed.mains && !self.fault && self.wants_closed() {
            self.open_s = None;
            if !self.commanded {
                let since_s = *self.ready_to_close_s.get_or_insert(now_s);
                self.close_when_due(since_s, now_s);
            }
        } else {
            self.ready_to_close_s = None;
            self.closed_at_loss |= self.commanded && !sensed.mains;
            if self.commanded && now_s >= *self.open_s.get_or_insert(now_s + self.settings.t_open) {
                self.commanded = false;
                self.open_s = None;
            }
        }
    }

    fn close_when_due(&mut self, since_s: f64, now_s: f64) {
        if now_s >= self.closing_due_s(since_s) {
            self.commanded = true;
            self.closed_s = now_s;
            self.ready_to_close_s = None;
            self.stalled = self.settings.frozen;
        }
    }

    fn closing_due_s(&self, since_s: f64) -> f64 {
        (since_s + self.settings.t_close).max(self.closed_s + self.settings.t_reclose)
    }

    /// The low level is wanted once before closing, not all the time (IEC 61851-1:2017 Table A.4 note, restated).
    fn wants_closed(&self) -> bool {
        let accepted = match self.seen {
            Seen::B => self.settings.closes_in_b,
            Seen::C => true,
            Seen::D => self.settings.accepts_d,
            Seen::A | Seen::E => false,
        };
        let skips = (self.settings.race && self.short_unplug) || self.returned;
        let offers = matches!(self.generator, Generator::Pwm(_));
        let diode = self.commanded || !self.settings.check_vneg || self.low_is_right();
        accepted && (skips || (offers && diode))
    }

    /// When a timer runs out next, if nothing else happens.
    pub(super) fn deadline_s(&self, now_s: f64) -> Option<f64> {
        if !self.running || self.stalled {
            return None;
        }
        let authorised = self.plugged_s.map(|at| (at + self.settings.t_auth).max(self.ready_s));
        let closing = self.ready_to_close_s.map(|since_s| self.closing_due_s(since_s));
        let weld = self.weld_s.map(|since_s| since_s + WELD_S);
        let overload = self
            .overload_s
            .zip(self.settings.overcurrent)
            .map(|(since_s, (_, span_s))| since_s + span_s);
        [authorised, closing, self.open_s, weld, overload]
            .into_iter()
            .flatten()
            .filter(|&at| at > now_s)
            .min_by(f64::total_cmp)
    }
}

/// Keeps the start of a condition; true once it has lasted `span_s`.
fn lasts(since_s: &mut Option<f64>, holds: bool, now_s: f64, span_s: f64) -> bool {
    *since_s = if holds { Some(since_s.unwrap_or(now_s)) } else { None };
    since_s.is_some_and(|since_s| now_s >= since_s + span_s)
}
