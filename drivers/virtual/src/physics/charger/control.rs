//! The charger's decisions: waking and sleeping, wanting an offer, closing and opening S2. Everything that takes time is an
//! event; nothing is looked up by state names of a table.

use super::super::api::ProximitySet;
use super::super::values::Values;
use super::decoder::allowed_a;
use super::{KEEP_S, OnboardCharger, Perceived, power};

/// Something that happens by itself in a charger.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Event {
    /// The decoder has averaged what is on the pilot.
    Perceive,
    /// The control works.
    Boot,
    /// The control goes to sleep.
    Sleep,
    /// Everything is ready: S2 closes.
    Close,
    /// S2 opens.
    Open,
    /// No AC supply came.
    GiveUp,
    /// Something on the power side.
    Power(power::Event),
}

/// Times and habits of the control.
#[allow(clippy::struct_excessive_bools, reason = "each is one habit")]
#[derive(Debug, Clone)]
pub(super) struct Times {
    wake_s: f64,
    sleep_s: f64,
    ready_s: f64,
    stop_s: f64,
    fault_s: f64,
    latch_s: f64,
    command_s: f64,
    no_supply_s: f64,
    lowest_v: f64,
    /// W while it works.
    awake_w: f64,
    /// A while it sleeps.
    asleep_a: f64,
    draws_x1: bool,
    ignores_x1: bool,
    ignores_fault: bool,
    never_sleeps: bool,
    fuse_open: bool,
    /// A at 3 to 7 %, at 8 to 10 %, and above 97 %; 0 where the rule is kept.
    draws_a: [f64; 3],
}

impl Times {
    pub(super) fn new(values: &Values) -> Self {
        Self {
            wake_s: values.get("t_wake"),
            sleep_s: values.get("t_sleep"),
            ready_s: values.get("t_ready"),
            stop_s: values.get("t_stop"),
            fault_s: values.get("t_fault"),
            latch_s: values.get("t_latch"),
            command_s: values.get("t_command_stop"),
            no_supply_s: values.get("t_no_supply"),
            lowest_v: values.get("lv_lowest"),
            awake_w: values.get("p_awake"),
            asleep_a: values.get("i_asleep"),
            draws_x1: values.yes("draws_x1"),
            ignores_x1: values.yes("ignores_x1"),
            ignores_fault: values.yes("ignores_fault"),
            never_sleeps: values.yes("never_sleeps"),
            fuse_open: values.yes("lv_fuse_open"),
            draws_a: ["draws_at_5", "draws_at_9", "draws_over_97"].map(|name| values.get(name)),
        }
    }

    /// A that this charger takes a duty for.
    fn taken_a(&self, duty: f64) -> f64 {
        let [at_5, at_9, over_97] = self.draws_a;
        match duty {
            d if (0.03..=0.07).contains(&d) && at_5 > 0.0 => at_5,
            d if (0.08..0.10).contains(&d) && at_9 > 0.0 => at_9,
            d if d > 0.97 && over_97 > 0.0 => over_97,
            d => allowed_a(d),
        }
    }
}

/// Where the control stands.
#[allow(clippy::struct_excessive_bools, reason = "each is one fact")]
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Control {
    /// The low-voltage supply is enough.
    supplied: bool,
    pub(super) awake: bool,
    pub(super) s2: bool,
    pub(super) perceived: Perceived,
    /// It waited for an AC supply in vain, and wants another offer first.
    pub(super) gave_up: bool,
    /// It wants to charge.
    pub(super) wants: bool,
}

impl Default for Control {
    fn default() -> Self {
        Self {
            supplied: false,
            awake: false,
            s2: false,
            perceived: Perceived::Nothing,
            gave_up: false,
            wants: false,
        }
    }
}

impl OnboardCharger {
    /// One event.
    pub(super) fn happen(&mut self, event: Event) {
        match event {
            Event::Perceive => self.perceive(),
            Event::Boot => self.control.awake = true,
            Event::Sleep => {
                self.control.awake = false;
                self.control.s2 = false;
            }
            Event::Close => {
                self.control.s2 = true;
                self.queue.plan(self.now_s + self.times.no_supply_s, Event::GiveUp);
            }
            Event::Open => {
                self.control.s2 = false;
                self.queue.cancel(|event| *event == Event::GiveUp);
            }
            Event::GiveUp => self.control.gave_up = true,
            Event::Power(event) => self.happen_on_power(event),
        }
    }

    fn perceive(&mut self) {
        let segment = *self.pilot.last();
        self.control.perceived = self.decoder.perceive(&segment, self.now_s);
        if !matches!(self.control.perceived, Perceived::Offer(_)) {
            self.control.gave_up = false;
        }
        if let Some(again_s) = self.decoder.again_s(&segment) {
            self.queue.plan(self.now_s + again_s, Event::Perceive);
        }
    }

    /// Carries every consequence through.
    pub(super) fn settle(&mut self) {
        self.note_power();
        self.decide();
        self.renew_line();
        self.renew_steps();
        self.settle_power();
        // The power side may have found a reason to stop.
        self.decide();
    }

    /// Whether anything is behind the low-voltage pins that gets enough.
    pub(super) fn is_supplied(&self) -> bool {
        !self.times.fuse_open && self.bench.low_voltage() >= self.times.lowest_v
    }

    fn note_power(&mut self) {
        if !self.is_supplied() {
            // S2 is a relay or a transistor of the same supply.
            let perceived = self.control.perceived;
            self.control = Control {
                perceived,
                ..Control::default()
            };
            self.queue
                .cancel(|event| !matches!(event, Event::Perceive | Event::Power(_)));
            return;
        }
        let pilot = !matches!(self.control.perceived, Perceived::Nothing);
        // Power that comes boots it once.
        let wakes = pilot || self.times.never_sleeps || !self.control.supplied;
        self.control.supplied = true;
        if !self.control.awake && wakes && !self.queue.holds(Event::Boot) {
            self.queue.plan(self.now_s + self.times.wake_s, Event::Boot);
        }
        if pilot || self.times.never_sleeps || !self.control.awake {
            self.queue.cancel(|event| *event == Event::Sleep);
        } else if !self.queue.holds(Event::Sleep) {
            self.queue.plan(self.now_s + self.times.sleep_s, Event::Sleep);
        }
    }

    /// The current that it would allow itself now, without regard to what else it waits for, A.
    pub(super) fn offered_a(&self) -> f64 {
        match self.control.perceived {
            Perceived::Offer(duty) => self.times.taken_a(duty),
            Perceived::Steady if self.times.draws_x1 => 6.0,
            _ => 0.0,
        }
    }

    pub(super) fn is_latched(&self) -> bool {
        self.perceived_proximity() == ProximitySet::Latched
    }

    fn decide(&mut self) {
        let offered = self.offered_a() > 0.0 && self.is_latched() && self.power.may_work();
        let wants = self.control.awake && offered && !self.control.gave_up;
        self.control.wants = wants;
        if wants {
            self.queue.cancel(|event| *event == Event::Open);
            if !self.control.s2 && !self.queue.holds(Event::Close) {
                self.queue.plan(self.now_s + self.times.ready_s, Event::Close);
            }
            return;
        }
        self.queue.cancel(|event| *event == Event::Close);
        if !self.control.s2 {
            return;
        }
        // A stop may be under way; only a more urgent one overtakes it.
        let Some(after_s) = self.opens_after_s() else { return };
        let at_s = self.now_s + after_s;
        if self.queue.when(Event::Open).is_none_or(|planned_s| planned_s > at_s) {
            self.queue.cancel(|event| *event == Event::Open);
            self.queue.plan(at_s, Event::Open);
        }
    }

    /// How soon S2 opens; `None` where this charger ignores the reason.
    fn opens_after_s(&self) -> Option<f64> {
        let times = &self.times;
        if !self.is_latched() {
            return Some(times.latch_s);
        }
        if self.bench.commands_missing {
            return Some(times.command_s);
        }
        match self.control.perceived {
            Perceived::Nothing | Perceived::Fault if times.ignores_fault => None,
            Perceived::Nothing | Perceived::Fault => Some(times.fault_s),
            Perceived::Steady if times.ignores_x1 => None,
            _ => Some(times.stop_s),
        }
    }

    /// Begins a new segment of the pilot where source or S2 changed; the decoder sees it after its latency.
    fn renew_line(&mut self) {
        let next = self.line.segment(self.now_s, &self.bench, self.control.s2);
        let last = *self.pilot.last();
        if last.drive == next.drive && last.circuit == next.circuit && same_rails(last.rails_v, next.rails_v) {
            return;
        }
        self.pilot.push(next, KEEP_S);
        self.queue.cancel(|event| *event == Event::Perceive);
        let seen_s = self.now_s + self.decoder.latency_s(&next);
        self.queue.plan(seen_s, Event::Perceive);
    }

    fn renew_steps(&mut self) {
        let now_s = self.now_s;
        self.proximity_v.push(now_s, self.proximity_v(), KEEP_S);
        self.low_voltage_a.push(now_s, self.low_voltage_a(), KEEP_S);
        let allowed_a = if self.control.s2 { self.offered_a() } else { 0.0 };
        self.allowed_a.push(now_s, allowed_a, KEEP_S);
        self.rail_v
            .push(now_s, self.bench.rail_v(self.line.r_source, self.line.r_meter), KEEP_S);
    }

    /// A out of the low-voltage supply: constant power while awake.
    fn low_voltage_a(&self) -> f64 {
        let volts = self.bench.low_voltage();
        if self.times.fuse_open || volts <= 0.0 {
            return 0.0;
        }
        if self.control.awake && self.is_supplied() {
            self.times.awake_w / volts
        } else {
            self.times.asleep_a
        }
    }
}

fn same_rails(a: (f64, f64), b: (f64, f64)) -> bool {
    (a.0.to_bits(), a.1.to_bits()) == (b.0.to_bits(), b.1.to_bits())
}
