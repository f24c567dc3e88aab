//! The charger's side of the bus: it says periodically how it is, and supervises what it is told. Until the first command after it
//! woke it works without any; from then on it stops where commands that count do not come any more.

use super::super::api::{Command, ProximitySet, Reported};
use super::super::random::{Stream, normal};
use super::super::values::Values;
use pilotage_core::RunTime;
use pilotage_core::frames::{Frame, Layout, Map, Signal, Watch};
use std::time::Duration;

/// Habits of this charger.
#[allow(clippy::struct_excessive_bools, reason = "each is one habit")]
#[derive(Debug, Clone)]
struct Habits {
    period: f64,
    jitter_s: f64,
    lost: u64,
    counter_stands: bool,
    checksum_wrong: bool,
    reports_latched: bool,
    timeout: u32,
    recovery: u32,
    no_timeout: bool,
    ignores_counter: bool,
    ignores_checksum: bool,
    no_clamp: bool,
    seed: u64,
}

/// A kind of frame that it sends.
#[derive(Debug, Clone)]
struct Telling {
    layout: Layout,
    /// When this kind began, and how many were due since.
    since: RunTime,
    number: u64,
    count: u32,
    due: RunTime,
}

/// What it has understood of its commands.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Told {
    /// When the last command that counts came.
    at: RunTime,
    command: Command,
    /// Commands did not come for too long; so many that count have come since.
    missing: Option<u32>,
}

/// The charger's side.
#[derive(Debug)]
pub(super) struct Talk {
    habits: Habits,
    nameplate: Command,
    tellings: Vec<Telling>,
    order: Option<(Layout, Watch)>,
    told: Option<Told>,
    /// What the charger's control was given last, and whether commands were missing then.
    given: (Command, bool),
    awake: bool,
}

impl Talk {
    pub(super) fn new(map: &Map, values: &Values, seed: u64) -> Self {
        let nameplate = Command {
            enabled: true,
            volts: values.get("dc_voltage"),
            amps: values.get("dc_current"),
        };
        let tellings = map
            .frames
            .iter()
            .filter(|layout| !layout.to_item)
            .map(|layout| Telling {
                layout: layout.clone(),
                since: RunTime::START,
                number: 0,
                count: 0,
                due: RunTime::START,
            });
        let order = map.frames.iter().find(|layout| layout.to_item);
        Self {
            habits: Habits {
                period: values.get("status_period"),
                jitter_s: values.get("status_jitter"),
                lost: values.get("status_lost") as u64,
                counter_stands: values.yes("status_counter_stands"),
                checksum_wrong: values.yes("status_checksum_wrong"),
                reports_latched: values.yes("reports_latched"),
                timeout: values.get("command_timeout").max(1.0) as u32,
                recovery: values.get("command_recovery").max(1.0) as u32,
                no_timeout: values.yes("no_command_timeout"),
                ignores_counter: values.yes("ignores_counter"),
                ignores_checksum: values.yes("ignores_checksum"),
                no_clamp: values.yes("no_clamp"),
                seed,
            },
            nameplate,
            tellings: tellings.collect(),
            order: order.map(|layout| (layout.clone(), Watch::new(layout, map.window))),
            told: None,
            given: (nameplate, false),
            awake: false,
        }
    }

    /// When it looks next whether it must do something.
    pub(super) fn due(&self) -> Option<RunTime> {
        let tells = self.tellings.iter().map(|telling| telling.due).min();
        [tells, self.expires()].into_iter().flatten().min()
    }

    /// When the commands count as missing.
    fn expires(&self) -> Option<RunTime> {
        let told = self
            .told
            .filter(|told| told.missing.is_none() && !self.habits.no_timeout)?;
        let (layout, _) = self.order.as_ref()?;
        Some(told.at.plus(layout.period * self.habits.timeout))
    }

    /// Whether its controller works.
    pub(super) fn is_awake(&self) -> bool {
        self.awake
    }

    /// Everything that is due; gives the frames that it wants to send.
    pub(super) fn work(&mut self, now: RunTime, says: &Reported) -> Vec<Frame> {
        if self.expires().is_some_and(|expires| expires <= now)
            && let Some(told) = &mut self.told
        {
            told.missing = Some(0);
        }
        if says.awake != self.awake {
            self.awake = says.awake;
            self.forget();
        }
        let status = Status {
            says,
            missing: self.misses(),
            accepted: self.now_wanted(),
            reports_latched: self.habits.reports_latched,
        };
        let (habits, awake) = (&self.habits, self.awake);
        let due = self.tellings.iter_mut().filter(|telling| telling.due <= now);
        let frames = due.filter_map(|telling| telling.next(now, habits, &status));
        frames.filter(|_| awake).collect()
    }

    /// After a sleep it works without commands again.
    fn forget(&mut self) {
        self.told = None;
        if let Some((_, watch)) = &mut self.order {
            watch.forget();
        }
    }

    /// A frame that came while it is awake.
    pub(super) fn received(&mut self, frame: &Frame, at: RunTime) {
        let Some((layout, watch)) = self
            .order
            .as_mut()
            .filter(|(layout, _)| self.awake && layout.id == frame.id)
        else {
            return;
        };
        let seen = watch.note(layout, frame, at);
        let counts =
            (seen.sound || self.habits.ignores_checksum) && (seen.step != Some(0) || self.habits.ignores_counter);
        if !counts {
            if let Some(Told {
                missing: Some(good), ..
            }) = &mut self.told
            {
                *good = 0;
            }
            return;
        }
        let command = order(layout, &layout.decode(frame), &self.nameplate);
        let before = self.told.and_then(|told| told.missing);
        let missing = before.map(|good| good + 1).filter(|good| *good < self.habits.recovery);
        self.told = Some(Told { at, command, missing });
    }

    /// What it allows itself by its commands.
    fn now_wanted(&self) -> Command {
        let Some(told) = self.told else { return self.nameplate };
        let clamped = |wanted: f64, most: f64| {
            if self.habits.no_clamp {
                wanted
            } else {
                wanted.clamp(0.0, most)
            }
        };
        Command {
            enabled: told.command.enabled && told.missing.is_none(),
            volts: clamped(told.command.volts, self.nameplate.volts),
            amps: clamped(told.command.amps, self.nameplate.amps),
        }
    }

    fn misses(&self) -> bool {
        self.told.is_some_and(|told| told.missing.is_some())
    }

    /// What the charger's control is to be given, and whether commands are missing, where it is another than before.
    pub(super) fn changed(&mut self) -> Option<(Command, bool)> {
        let wanted = (self.now_wanted(), self.misses());
        (wanted != self.given).then(|| {
            self.given = wanted;
            wanted
        })
    }
}

/// What a command says, by the names of its signals. What it does not say is as the nameplate.
fn order(layout: &Layout, raws: &[i64], nameplate: &Command) -> Command {
    let raw = |name: &str| layout.signal(name).map(|(place, signal)| (signal, raws[place]));
    let si =
        |name: &str, otherwise: f64| raw(name).map_or(otherwise, |(signal, raw)| signal.unit.to_si(signal.value(raw)));
    Command {
        enabled: raw("enable").is_none_or(|(signal, raw)| signal.word(raw) == Some("on")),
        volts: si("voltage", nameplate.volts),
        amps: si("current", nameplate.amps),
    }
}

/// What its frames are filled with.
struct Status<'a> {
    says: &'a Reported,
    missing: bool,
    accepted: Command,
    reports_latched: bool,
}

impl Status<'_> {
    /// The raw number of a signal; at rest where it knows nothing of that name.
    fn raw(&self, signal: &Signal) -> i64 {
        let word = |word: &str| signal.raw_of_word(word);
        let raw = match signal.name.as_str() {
            "state" => word(self.state()),
            "fault" => word(self.fault()),
            "proximity" => word(self.proximity()),
            "enable" => word(if self.accepted.enabled { "on" } else { "off" }),
            _ => None,
        };
        let si = self
            .amount(&signal.name)
            .map(|si| signal.raw_within(signal.unit.from_si(si)));
        raw.or(si).unwrap_or_else(|| signal.at_rest())
    }

    fn amount(&self, name: &str) -> Option<f64> {
        Some(match name {
            "voltage" => self.accepted.volts,
            "current" => self.accepted.amps,
            "dc_voltage" => self.says.dc_v,
            "dc_current" => self.says.dc_a,
            "ac_voltage" => self.says.ac_v,
            "ac_current" => self.says.ac_a,
            "temperature" => self.says.temperature_k,
            _ => return None,
        })
    }

    fn state(&self) -> &'static str {
        if self.missing || self.says.fault {
            "fault"
        } else if self.says.s2 {
            "active"
        } else {
            "idle"
        }
    }

    fn fault(&self) -> &'static str {
        match (self.missing, self.says.fault) {
            (true, _) => "command_missing",
            (false, true) => "internal",
            (false, false) => "none",
        }
    }

    fn proximity(&self) -> &'static str {
        match self.says.proximity {
            _ if self.reports_latched => "latched",
            ProximitySet::Latched => "latched",
            ProximitySet::Pressed => "pressed",
            ProximitySet::Open => "open",
        }
    }
}

impl Telling {
    /// The frame that is due, where it is not left out; and when the next one is.
    fn next(&mut self, now: RunTime, habits: &Habits, status: &Status<'_>) -> Option<Frame> {
        self.number += 1;
        let period_s = self.layout.period.as_secs_f64() * habits.period;
        let stream = u64::from(self.layout.id.rank());
        let jitter_s = habits.jitter_s * normal(habits.seed, Stream::Status, stream, self.number);
        // Never before the one that was due now, whatever was drawn.
        let offset_s = (self.number as f64 * period_s + jitter_s.clamp(-0.3 * period_s, 0.3 * period_s)).max(0.0);
        let next = self.since.plus(Duration::from_secs_f64(offset_s));
        self.due = next.max(RunTime(now.0 + 1));
        if !habits.counter_stands {
            self.count = (self.count + 1) % self.layout.counter.map_or(1, |counter| counter.modulus);
        }
        if habits.lost > 0 && self.number.is_multiple_of(habits.lost) {
            return None;
        }
        let raws: Vec<i64> = self.layout.signals.iter().map(|signal| status.raw(signal)).collect();
        let frame = self.layout.encode(&raws, self.count);
        Some(if habits.checksum_wrong {
            self.layout.spoiled(&frame)
        } else {
            frame
        })
    }
}
