//! What the bench does to the power side: supply, DC sink, coolant, interlock loop, commands.

use super::super::super::api::{Action, Command};
use super::super::super::mains::{self, Source};
use super::super::super::values::Values;
use super::super::control;
use super::super::{KEEP_S, OnboardCharger};
use super::Event;

/// V that a sink the wrong way round puts on its terminals.
const REVERSED_V: f64 = -10.0;

/// The supply, as the bench has it.
#[derive(Debug, Clone, Copy)]
pub(in super::super) struct Feed {
    pub(in super::super) source: Source,
    /// It gives voltage: it was switched on, and its angle has come.
    pub(super) live: bool,
    /// Angle at which it switches on next.
    angle: Option<f64>,
    /// What a dip leaves of its voltage.
    pub(super) dip: Option<f64>,
}

/// The DC sink, with the contactor between it and the output.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sink {
    /// Its contactor is closed.
    pub(super) connected: bool,
    pub(super) on: bool,
    pub(super) volts: f64,
    pub(super) amps: f64,
    pub(super) reversed: bool,
}

/// What a sink is to the output.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Sinks {
    /// Nothing.
    Nothing,
    /// It holds this voltage, and takes so many amperes at most.
    Battery(f64, f64),
    /// It takes so many amperes.
    Current(f64),
    /// The wrong way round.
    Reversed,
}

/// The coolant.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cooling {
    pub(super) flows: bool,
    /// K where it enters.
    pub(super) inlet_k: f64,
}

impl Feed {
    /// The AC side while the pins have this voltage and the charger draws so much of it, S. What follows a wall unit's poles is not there.
    pub(super) fn switching(&self, source_v: f64, drawn_s: f64) -> mains::Switching {
        mains::Switching {
            source_v,
            frequency: self.source.frequency,
            limit_a: f64::INFINITY,
            poles: [false; 2],
            load_a: 0.0,
            burden: false,
            drawn_s,
        }
    }

    pub(super) fn new(values: &Values) -> Self {
        Self {
            source: Source::new(values),
            live: false,
            angle: None,
            dip: None,
        }
    }

    /// V rms behind its impedance.
    pub(super) fn volts(&self) -> f64 {
        if self.live && self.source.on {
            self.source.volts * self.dip.unwrap_or(1.0)
        } else {
            0.0
        }
    }
}

impl Sink {
    /// Off, connected.
    pub(super) fn new() -> Self {
        Self {
            connected: true,
            on: false,
            volts: 0.0,
            amps: 0.0,
            reversed: false,
        }
    }

    /// What it is to the output: nothing while its contactor is open.
    pub(super) fn sinks(&self) -> Sinks {
        if self.connected {
            self.by_itself()
        } else {
            Sinks::Nothing
        }
    }

    /// V at its own terminals while its contactor is open; `None` while it is closed.
    pub(super) fn alone_v(&self) -> Option<f64> {
        (!self.connected).then(|| self.by_itself().holds_v().unwrap_or(0.0))
    }

    /// What it is to whatever is connected to it.
    fn by_itself(&self) -> Sinks {
        match self {
            Self { on: false, .. } => Sinks::Nothing,
            Self { reversed: true, .. } => Sinks::Reversed,
            Self { volts, amps, .. } if *volts > 0.0 => Sinks::Battery(*volts, *amps),
            Self { amps, .. } => Sinks::Current(*amps),
        }
    }
}

impl Sinks {
    /// V that it puts on its terminals by itself: a battery's, 10 V the wrong way round, nearly nothing where it takes a current that
    /// nobody gives. `None` where it leaves them alone.
    pub(super) fn holds_v(self) -> Option<f64> {
        match self {
            Self::Battery(volts, _) => Some(volts),
            Self::Reversed => Some(REVERSED_V),
            Self::Current(amps) if amps > 0.0 => Some(0.0),
            Self::Current(_) | Self::Nothing => None,
        }
    }
}

impl Cooling {
    pub(super) fn new(values: &Values) -> Self {
        Self {
            flows: true,
            inlet_k: values.get("ambient"),
        }
    }
}

impl OnboardCharger {
    /// An action on the power side; the other ones leave it alone.
    pub(in super::super) fn act_on_power(&mut self, action: Action) {
        let now_s = self.now_s;
        let power = &mut self.power;
        match action {
            Action::Supply { on } => return self.switch_supply(on),
            Action::SupplyAngle(angle) => power.feed.angle = Some(angle),
            Action::SupplyVoltage(_) | Action::SupplyFrequency(_) | Action::SupplyCurrentLimit(_) => {
                power.feed.source.act(action);
            }
            Action::SupplyDip {
                ratio,
                for_s,
                angle_rad,
            } => {
                let at_s = power.past.last().mains.next_angle_s(now_s, angle_rad);
                self.plan(at_s, Event::DipBegins(ratio.clamp(0.0, 2.0), for_s.max(0.0)));
                return;
            }
            Action::Burden { on } => power.burdened = on,
            Action::Load { on } => power.sink.on = on,
            Action::LoadCurrent(amps) => power.sink.amps = amps.max(0.0),
            Action::SinkVoltage(volts) => power.sink.volts = volts.max(0.0),
            Action::SinkReversed { on } => power.sink.reversed = on,
            Action::Coolant { on } => {
                power.cooling.flows = on;
                power.heat.cool_by(now_s, power.parts.foster(on), 0.0, KEEP_S);
            }
            Action::CoolantTemperature(kelvin) => {
                let kelvin = kelvin.max(1.0);
                let warmer_k = kelvin - power.cooling.inlet_k;
                let foster = power.parts.foster(power.cooling.flows);
                power.cooling.inlet_k = kelvin;
                power.heat.cool_by(now_s, foster, warmer_k, KEEP_S);
            }
            Action::InterlockLoop { closed } => {
                power.loop_closed = closed;
                self.watch_loop();
            }
            Action::Command(command) => {
                // What is beyond the nameplate was refused by who reads the frames, or by nobody.
                power.command = Command {
                    enabled: command.enabled,
                    volts: command.volts.max(0.0),
                    amps: command.amps.max(0.0),
                };
            }
            _ => return,
        }
        self.power.renew = true;
    }

    /// The guard, the isolator or the contactor has moved.
    pub(in super::super) fn follow_guard(&mut self) {
        if !self.holds(Event::Guard) && self.station.follow_guard() {
            let at_s = self.now_s + self.values.get("bench_t_guard");
            self.plan(at_s, Event::Guard);
        }
        self.power.sink.connected |= self.station.guard_allows();
        self.power.renew = true;
    }

    /// The guard has opened the contactors of supply and sink, and both have gone off with them. Nothing comes back by itself; a sink
    /// that is switched on again takes nothing and holds nothing before its contactor is closed.
    pub(super) fn open_contactors(&mut self) {
        let closed = self.station.guard_allows();
        self.station.contactor_closed = closed;
        self.power.feed.source.on = false;
        self.power.feed.live = false;
        self.cancel(|event| *event == Event::SupplyOn);
        if !self.values.yes("bench_load_contactor_welded") {
            self.power.sink.connected = closed;
            self.power.sink.on = false;
        }
    }

    /// Whether the sink's contactor is closed, and whether the sink is on.
    pub(in super::super) fn sink_switches(&self) -> (bool, bool) {
        (self.power.sink.connected, self.power.sink.on)
    }

    fn switch_supply(&mut self, on: bool) {
        self.cancel(|event| *event == Event::SupplyOn);
        let may = self.station.guard_holds() && !self.holds(Event::Guard);
        let feed = &mut self.power.feed;
        feed.source.on = on && may;
        if !feed.source.on {
            feed.live = false;
        } else if !feed.live {
            match feed.angle.take() {
                Some(angle) => {
                    let at_s = self.power.past.last().mains.next_angle_s(self.now_s, angle);
                    self.plan(at_s, Event::SupplyOn);
                }
                None => feed.live = true,
            }
        }
        self.power.renew = true;
    }

    // ---- the power side's part of the queue ----

    pub(super) fn plan(&mut self, at_s: f64, event: Event) {
        self.queue.plan(at_s, control::Event::Power(event));
    }

    pub(super) fn holds(&self, event: Event) -> bool {
        self.queue.holds(control::Event::Power(event))
    }

    pub(super) fn cancel(&mut self, which: impl Fn(&Event) -> bool) {
        self.queue
            .cancel(|event| matches!(event, control::Event::Power(own) if which(own)));
    }

    /// Plans it if it is not planned already.
    pub(super) fn plan_once(&mut self, after_s: f64, event: Event) {
        if !self.holds(event) {
            self.plan(self.now_s + after_s, event);
        }
    }
}
