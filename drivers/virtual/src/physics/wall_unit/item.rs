//! What the item does by itself: power, sampling, decisions, contactor, heat.

use super::super::api::{Generator, Pole};
use super::super::constants::pe_ohm;
use super::super::logic::Sensed;
use super::super::mains;
use super::super::pilot::Drive;
use super::super::queue::Event;
use super::{Asleep, KEEP_S, Power, WallUnit};

/// Below this the contacts part without an arc, A.
const NO_ARC_A: f64 = 0.05;
/// How often the item looks at its temperature while it may be hot, s.
const HEAT_LOOK_S: f64 = 10.0;

impl WallUnit {
    /// One event.
    pub(super) fn happen(&mut self, event: Event) {
        match event {
            Event::Guard => self.open_supply(),
            Event::PilotLoad(action) => self.bench.pilot.act(&self.parts, action),
            Event::PowerDown => self.power_down(),
            Event::Boot => self.boot(),
            Event::Sample => self.sample(),
            Event::Deadline => {}
            Event::Derate => self.derate(),
            Event::Touch(pole, touches) => self.touch(pole, touches),
            Event::Part(pole) => self.part(pole),
            Event::Quench(pole) => self.poles[index(pole)] = false,
        }
    }

    /// Carries every consequence through until nothing changes any more at this moment.
    pub(super) fn settle(&mut self) {
        self.renew_mains();
        self.note_power();
        for _ in 0..6 {
            let before = (self.logic.generator, self.logic.commanded);
            self.logic.decide(self.now_s, &self.sensed());
            self.follow_coil();
            self.renew_pilot();
            if before == (self.logic.generator, self.logic.commanded) {
                break;
            }
        }
        self.plan_deadline();
        self.plan_heat_look();
    }

    fn renew_mains(&mut self) {
        let switching = self.switching(self.poles);
        self.mains.push(self.now_s, switching, KEEP_S);
        let power = self.paths.power(self.contactor.operations, switching.flowing_a());
        self.heat.push(self.now_s, power, KEEP_S);
    }

    fn voltage_ratio(&self) -> f64 {
        self.source_v() / self.values.get("supply_voltage").max(1.0)
    }

    fn sensed(&self) -> Sensed {
        Sensed {
            mains: self.voltage_ratio() >= self.values.get("v_electronics"),
            output_live: self.poles[0] && self.source_v() > 50.0,
            pe_lost: pe_ohm(&self.fixed) > self.values.get("r_pe_limit"),
            load_a: self.mains.last().switching.flowing_a(),
        }
    }

    fn note_power(&mut self) {
        let enough = self.voltage_ratio() >= self.values.get("v_electronics");
        match (enough, self.power) {
            (true, Power::Dead { lost_before }) => {
                if !(lost_before && self.values.yes("no_return")) {
                    self.power = Power::Booting;
                    self.queue.plan(self.now_s + self.values.get("t_boot"), Event::Boot);
                }
            }
            (true, _) => self.queue.cancel(|event| *event == Event::PowerDown),
            (false, Power::Booting | Power::Alive) => {
                if !self.queue.holds(Event::PowerDown) {
                    self.queue
                        .plan(self.now_s + self.values.get("e_holdup"), Event::PowerDown);
                }
            }
            (false, Power::Dead { .. }) => {}
        }
    }

    fn power_down(&mut self) {
        let gone = |event: &Event| matches!(event, Event::Boot | Event::Sample | Event::Deadline | Event::Derate);
        self.queue.cancel(gone);
        self.power = Power::Dead { lost_before: true };
        self.asleep = None;
        self.logic.lose_power();
    }

    fn boot(&mut self) {
        self.power = Power::Alive;
        self.boot_s = self.now_s;
        self.logic.boot(self.parts.rails_v.0);
    }

    // ---- pilot ----

    /// Begins a new segment of the pilot where generator, circuit or hum changed, and wakes the sampling.
    fn renew_pilot(&mut self) {
        if self.drive.0 != self.logic.generator {
            self.drive = (self.logic.generator, self.parts.drive(self.logic.generator, self.now_s));
        }
        let circuit = self.parts.circuit(&self.bench.pilot);
        let hum = self.parts.hum(self.source_v() > 0.0, self.bench.source.frequency);
        let last = self.pilot.last();
        if last.drive != self.drive.1 || last.circuit != circuit || last.hum != hum {
            let next = self.parts.segment(self.now_s, self.drive.1, circuit, hum);
            self.pilot.push(next, KEEP_S);
            self.wake();
        }
    }

    fn wake(&mut self) {
        if !matches!(self.logic.generator, Generator::High | Generator::Pwm(_)) {
            self.queue.cancel(|event| *event == Event::Sample);
            self.asleep = None;
            return;
        }
        let period_s = self.logic.t_sample();
        if let Some(asleep) = self.asleep.take() {
            let missed = libm::floor((self.now_s - asleep.since_s) / period_s);
            self.logic.relax(asleep.high_v, asleep.low_v, missed);
        }
        if !self.queue.holds(Event::Sample) {
            let passed = libm::floor((self.now_s - self.boot_s) / period_s);
            self.queue.plan(self.boot_s + (passed + 1.0) * period_s, Event::Sample);
        }
    }

    fn sample(&mut self) {
        let segment = *self.pilot.last();
        let (high_source_v, low_source_v) = self.parts.rails_v;
        let hum_v = segment.hum.at(self.now_s);
        let runs = matches!(self.logic.generator, Generator::Pwm(_));
        let low_at = |hum_v: f64| runs.then(|| segment.circuit.level(low_source_v + hum_v));
        let (high_v, low_v) = (segment.circuit.level(high_source_v + hum_v), low_at(hum_v));
        self.logic.sample(high_v, low_v);
        let (high_v, low_v) = (segment.circuit.level(high_source_v), low_at(0.0));
        let ripple_v = segment.hum.peak_v
            * segment
                .circuit
                .gain(high_source_v)
                .max(segment.circuit.gain(low_source_v));
        if self.logic.is_settled(high_v, low_v, ripple_v) {
            let since_s = self.now_s;
            self.asleep = Some(Asleep { since_s, high_v, low_v });
        } else {
            self.queue.plan(self.now_s + self.logic.t_sample(), Event::Sample);
        }
    }

    fn plan_deadline(&mut self) {
        self.queue.cancel(|event| *event == Event::Deadline);
        if let Some(at_s) = self.logic.deadline_s(self.now_s) {
            self.queue.plan(at_s, Event::Deadline);
        }
    }

    // ---- heat ----

    fn plan_heat_look(&mut self) {
        let may_be_hot = self.paths.derating(self.heat.final_terminal_k()) < 1.0
            || self.paths.derating(self.heat.rise_at(self.now_s).terminal_k()) < 1.0;
        if self.power != Power::Alive || !may_be_hot || self.queue.holds(Event::Derate) {
            return;
        }
        let at_s = self.now_s + HEAT_LOOK_S;
        // A new duty cycle begins with a period, as in a timer.
        let at_s = match self.drive.1 {
            Drive::Pwm(pwm) => pwm.epoch_s + libm::ceil((at_s - pwm.epoch_s) / pwm.period_s) * pwm.period_s,
            Drive::Steady(_) => at_s,
        };
        self.queue.plan(at_s, Event::Derate);
    }

    fn derate(&mut self) {
        // Steps of 1 %, as a firmware that does not chase every tenth of a kelvin.
        let factor = self.paths.derating(self.heat.rise_at(self.now_s).terminal_k());
        self.logic.derate(libm::floor(factor * 100.0) / 100.0);
    }

    // ---- contactor ----

    fn follow_coil(&mut self) {
        if self.logic.commanded != self.coil_commanded {
            self.contactor.drive(self.logic.commanded);
            self.coil_commanded = self.logic.commanded;
        }
        match self.contactor.moves(self.voltage_ratio()) {
            Some(true) => self.pull_in(),
            Some(false) => self.drop_out(),
            None => {}
        }
    }

    fn pull_in(&mut self) {
        self.contactor.pulled = true;
        self.queue.cancel(|event| is_of_contacts(*event));
        for touch in self.contactor.touches() {
            self.queue
                .plan(self.now_s + touch.after_s, Event::Touch(touch.pole, touch.touches));
        }
    }

    fn drop_out(&mut self) {
        self.contactor.pulled = false;
        self.queue.cancel(|event| is_of_contacts(*event));
        for pole in [Pole::L, Pole::N] {
            if self.contactor.is_movable(pole) {
                self.queue
                    .plan(self.now_s + self.contactor.release_s(), Event::Part(pole));
            }
        }
    }

    fn touch(&mut self, pole: Pole, touches: bool) {
        let before = self.mains.last().switching;
        let after = mains::Switching {
            poles: [true, true],
            ..before
        };
        // Until it touches again no current is counted as flowing, so the arc is reckoned with what the load wants.
        self.contactor.arc(pole, touches, self.now_s, after.flowing_a());
        self.poles[index(pole)] = touches;
    }

    /// An arc carries the current on until its next zero; without current there is none.
    fn part(&mut self, pole: Pole) {
        let stretch = self.mains.last();
        if stretch.switching.flowing_a() > NO_ARC_A {
            self.queue.plan(stretch.next_zero_s(self.now_s), Event::Quench(pole));
        } else {
            self.poles[index(pole)] = false;
        }
    }
}

fn index(pole: Pole) -> usize {
    match pole {
        Pole::L => 0,
        Pole::N => 1,
    }
}

fn is_of_contacts(event: Event) -> bool {
    matches!(event, Event::Touch(..) | Event::Part(_) | Event::Quench(_))
}
