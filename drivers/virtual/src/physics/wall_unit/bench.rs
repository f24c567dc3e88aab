//! What the bench and a person do to the world.

use pilotage_core::RunTime;

use super::super::api::Action;
use super::super::queue::Event;
use super::WallUnit;

impl WallUnit {
    /// Advances to `at`, then acts. An action that comes late acts now: time does not run backwards.
    pub(super) fn perform(&mut self, at: RunTime, action: Action) {
        self.advance_to(at);
        // What waits for its angle gives way to every later order.
        if matches!(action, Action::PilotLoad(_) | Action::PilotResistance(_)) {
            self.queue.cancel(|event| matches!(event, Event::PilotLoad(_)));
        }
        match action {
            Action::Enclosure { closed } => {
                self.station.door_closed = closed;
                self.guard();
            }
            Action::Stop { pressed } => {
                self.station.stop_pressed = pressed;
                self.guard();
            }
            Action::Reference(mode) => self.station.set_reference(self.now_s, mode),
            Action::Isolator { locked } => self.station.locked = locked,
            Action::Supply { on } => self.bench.source.on = on && self.guard_holds(),
            Action::PilotLoad(_)
            | Action::PilotResistance(_)
            | Action::PilotDiode { .. }
            | Action::PilotCapacitance(_) => self.bench.pilot.act(&self.parts, action),
            other => self.switch(other),
        }
        self.settle();
    }

    /// Another load on the pilot; at once where there is no supply to wait for.
    pub(super) fn perform_at_angle(&mut self, at: RunTime, action: Action, angle: f64) {
        self.advance_to(at);
        if self.source_v() <= 0.0 {
            return self.perform(at, action);
        }
        self.queue.cancel(|event| matches!(event, Event::PilotLoad(_)));
        let moment_s = self.mains.last().next_angle_s(self.now_s, angle);
        self.queue.plan(moment_s, Event::PilotLoad(action));
    }

    fn switch(&mut self, action: Action) {
        let bench = &mut self.bench;
        match action {
            Action::Load { on } => bench.load_on = on,
            Action::LoadCurrent(amps) => bench.load_a = amps.max(0.0),
            Action::Burden { on } => bench.burden = on,
            Action::Latch { pressed } => bench.latch_pressed = pressed,
            other => bench.source.act(other),
        }
    }

    fn guard_holds(&self) -> bool {
        self.station.guard_holds() && !self.queue.holds(Event::Guard)
    }

    fn guard(&mut self) {
        if !self.queue.holds(Event::Guard) && self.station.follow_guard() {
            self.queue
                .plan(self.now_s + self.values.get("bench_t_guard"), Event::Guard);
        }
    }

    /// The guard has opened the supply contactor, and the source has gone off with it.
    pub(super) fn open_supply(&mut self) {
        self.station.contactor_closed = self.station.guard_allows();
        self.bench.source.on = false;
    }
}
