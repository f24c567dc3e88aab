//! A charger that is told what to do over its bus, and says how it is.

use pilotage_core::RunTime;
use pilotage_core::Unit;
use pilotage_core::frames::{ByteOrder, Check, Checksum, Counter, Field, Id, Layout, Life, Map, Sending, Signal};
use pilotage_virtual::physics::{Action, ItemSort, Node as Place, PilotSource, Setup, World};
use std::time::Duration;

fn field(start: u8, length: u8, order: ByteOrder) -> Field {
    Field {
        start,
        length,
        order,
        signed: false,
    }
}

fn words(name: &str, start: u8, length: u8, words: &[&str]) -> Signal {
    Signal {
        words: (0_i64..).zip(words).map(|(k, word)| (k, (*word).to_owned())).collect(),
        ..amount(name, field(start, length, ByteOrder::Little), 1.0, "1")
    }
}

fn amount(name: &str, field: Field, factor: f64, unit: &str) -> Signal {
    Signal {
        name: name.to_owned(),
        field,
        factor,
        offset: 0.0,
        unit: Unit::find(unit).unwrap(),
        words: Vec::new(),
    }
}

/// The frames of the demo charger, written once more.
fn map() -> Map {
    let counter = |start| {
        Some(Counter {
            field: field(start, 4, ByteOrder::Little),
            modulus: 15,
        })
    };
    let checksum = Some(Check {
        kind: Checksum::Crc8SaeJ1850,
        byte: 7,
        data_id: None,
    });
    let wanted = || {
        vec![
            words("enable", 0, 2, &["off", "on"]),
            amount("voltage", field(11, 12, ByteOrder::Big), 0.25, "V"),
            amount("current", field(27, 12, ByteOrder::Big), 0.05, "A"),
        ]
    };
    Map {
        bit_rate: 500_000,
        window: Duration::from_secs(5),
        frames: vec![
            Layout {
                name: "command".to_owned(),
                id: Id::Extended(0x18ff_50e5),
                to_item: true,
                period: Duration::from_millis(100),
                length: 8,
                signals: wanted(),
                counter: counter(48),
                checksum,
                abandoned: Some(vec![(0, 0)]),
            },
            Layout {
                name: "status".to_owned(),
                id: Id::Standard(0x1a0),
                to_item: false,
                period: Duration::from_millis(100),
                length: 8,
                signals: vec![
                    words("state", 0, 2, &["idle", "active", "fault"]),
                    words("fault", 2, 3, &["none", "command_missing", "internal"]),
                    words("proximity", 5, 2, &["open", "pressed", "latched"]),
                    amount("dc_voltage", field(8, 10, ByteOrder::Little), 0.5, "V"),
                    Signal {
                        offset: -40.0,
                        ..amount("temperature", field(45, 7, ByteOrder::Little), 1.5, "°C")
                    },
                ],
                counter: counter(52),
                checksum,
                abandoned: None,
            },
            Layout {
                name: "accepted".to_owned(),
                id: Id::Standard(0x1a1),
                to_item: false,
                period: Duration::from_secs(1),
                length: 6,
                signals: wanted(),
                counter: counter(40),
                checksum: None,
                abandoned: None,
            },
        ],
    }
}

/// A charger on its bench with an interface to its bus.
struct Desk {
    world: World,
    now: RunTime,
}

impl Desk {
    fn new(changes: &[(&str, f64)]) -> Self {
        let setup = Setup {
            item: ItemSort::OnboardCharger,
            amounts: changes
                .iter()
                .map(|(name, value)| ((*name).to_owned(), *value))
                .collect(),
            seed: 1,
            ..Setup::default()
        };
        Self {
            world: World::with_frames(&setup, map()).unwrap(),
            now: RunTime::START,
        }
    }

    /// Supplied, latched, told to charge, offered 50 % for five seconds.
    fn charging(changes: &[(&str, f64)]) -> Self {
        let mut desk = Self::new(changes);
        desk.act(Action::LowVoltageLevel(12.0));
        desk.act(Action::LowVoltage { on: true });
        desk.act(Action::Proximity(Some(150.0)));
        desk.wait(1.0);
        desk.enable("on");
        desk.send(Sending::On);
        desk.act(Action::PilotSource(PilotSource::Pwm));
        desk.wait(6.0);
        desk
    }

    fn act(&mut self, action: Action) {
        self.world.act(self.now, action);
    }

    fn wait(&mut self, span_s: f64) {
        self.now = self.now.plus(Duration::from_secs_f64(span_s));
        self.world.truth(self.now);
    }

    fn node(&mut self) -> &mut pilotage_core::frames::Node {
        self.world.frames(self.now).unwrap()
    }

    fn enable(&mut self, word: &str) {
        self.node().set_word("command", "enable", word).unwrap();
        self.node().set("command", "voltage", 400.0).unwrap();
        self.node().set("command", "current", 10.0).unwrap();
    }

    fn send(&mut self, sending: Sending) {
        let now = self.now;
        self.node().send("command", sending, now).unwrap();
    }

    fn s2(&mut self) -> bool {
        self.world.truth(self.now).commanded
    }

    fn says(&mut self, frame: &str, signal: &str) -> String {
        let now = self.now;
        self.node()
            .word(frame, signal, now)
            .unwrap()
            .unwrap_or_else(|| "missing".to_owned())
    }

    fn value(&mut self, frame: &str, signal: &str) -> f64 {
        let now = self.now;
        self.node().value(frame, signal, now).unwrap().unwrap()
    }

    /// Seconds until S2 opens; ten where it does not.
    fn stops_after_s(&mut self) -> f64 {
        let start = self.now;
        while self.s2() && self.now.since(start) < Duration::from_secs(10) {
            self.wait(0.01);
        }
        self.now.since(start).as_secs_f64()
    }
}

#[test]
fn a_healthy_charger_says_how_it_is_every_100_ms() {
    let mut desk = Desk::charging(&[]);
    let now = desk.now;
    let figures = desk.node().figures("status", now).unwrap().unwrap();
    assert!((figures.mean_s - 0.1).abs() < 1e-3, "{figures:?}");
    assert!(
        (0.3e-3..3e-3).contains(&figures.jitter_s),
        "1 ms of each moment is 1.4 ms of each period: {figures:?}"
    );
    assert_eq!((figures.lost, figures.repeated, figures.unsound), (0, 0, 0));
    assert_eq!(desk.says("status", "state"), "active");
    assert_eq!(desk.says("status", "fault"), "none");
    // 23 °C of the room is 42 steps of 1.5 K above −40 °C.
    assert!((desk.value("status", "temperature") - 23.0).abs() < 1e-9);
    let mut slow = Desk::charging(&[("status_period", 1.2)]);
    let now = slow.now;
    let figures = slow.node().figures("status", now).unwrap().unwrap();
    assert!((figures.mean_s - 0.12).abs() < 1e-3, "{figures:?}");
}

#[test]
fn faults_of_its_own_frames_show() {
    for (name, value) in [
        ("status_lost", 5.0),
        ("status_counter_stands", 1.0),
        ("status_checksum_wrong", 1.0),
    ] {
        let mut desk = Desk::charging(&[(name, value)]);
        let now = desk.now;
        let figures = desk.node().figures("status", now).unwrap().unwrap();
        let expected = [
            name == "status_lost",
            name == "status_counter_stands",
            name == "status_checksum_wrong",
        ];
        assert_eq!(
            [figures.lost > 5, figures.repeated > 40, figures.unsound > 40],
            expected,
            "{name}: {figures:?}"
        );
    }
}

#[test]
fn it_says_what_it_reads_from_proximity() {
    for (ohm, word) in [(Some(150.0), "latched"), (Some(480.0), "pressed"), (None, "open")] {
        for (liar, said) in [(0.0, word), (1.0, "latched")] {
            let mut desk = Desk::charging(&[("reports_latched", liar)]);
            desk.act(Action::Proximity(ohm));
            desk.wait(0.5);
            assert_eq!(desk.says("status", "proximity"), said);
        }
    }
}

#[test]
fn it_works_without_commands_until_the_first_one() {
    let mut desk = Desk::new(&[]);
    desk.act(Action::LowVoltageLevel(12.0));
    desk.act(Action::LowVoltage { on: true });
    desk.act(Action::Proximity(Some(150.0)));
    desk.act(Action::PilotSource(PilotSource::Pwm));
    desk.wait(6.0);
    assert!(desk.s2());
    // The first one says off: S2 opens as behind the end of an offer, when the current is down.
    desk.send(Sending::On);
    let after_s = desk.stops_after_s();
    assert!((0.5..0.8).contains(&after_s), "{after_s}");
    desk.enable("on");
    desk.wait(5.0);
    assert!(desk.s2());
}

/// Ten periods of 100 ms.
#[test]
fn it_stops_within_ten_periods_of_each_fault_and_goes_on_after_it() {
    for sending in [
        Sending::Stopped,
        Sending::BadCounter,
        Sending::BadChecksum,
        Sending::BusOff,
    ] {
        let mut desk = Desk::charging(&[]);
        assert!(desk.s2());
        desk.send(sending);
        let after_s = desk.stops_after_s();
        assert!((0.3..=1.0).contains(&after_s), "{sending:?}: {after_s}");
        desk.wait(1.0);
        let fault = if sending == Sending::BusOff {
            "missing"
        } else {
            "command_missing"
        };
        desk.wait(1.0);
        assert_eq!(desk.says("status", "fault"), fault, "{sending:?}");
        desk.send(Sending::On);
        desk.wait(5.0);
        assert!(desk.s2(), "{sending:?}");
        assert_eq!(desk.says("status", "fault"), "none", "{sending:?}");
    }
}

#[test]
fn every_second_command_is_enough() {
    let mut desk = Desk::charging(&[]);
    desk.send(Sending::Lost);
    assert!(desk.stops_after_s() > 9.9);
}

#[test]
fn one_that_supervises_nothing_goes_on() {
    for (name, sending) in [
        ("no_command_timeout", Sending::Stopped),
        ("ignores_counter", Sending::BadCounter),
        ("ignores_checksum", Sending::BadChecksum),
    ] {
        let mut desk = Desk::charging(&[(name, 1.0)]);
        desk.send(sending);
        assert!(desk.stops_after_s() > 9.9, "{name}");
    }
}

#[test]
fn one_whose_controller_is_not_started_again_stays_away() {
    let mut desk = Desk::charging(&[("no_bus_restart", 1.0)]);
    desk.send(Sending::BusOff);
    desk.wait(1.0);
    desk.send(Sending::On);
    desk.wait(5.0);
    assert!(!desk.s2());
    assert_eq!(desk.says("status", "state"), "missing");
}

/// 420 V and 18 A of the nameplate.
#[test]
fn set_points_beyond_the_nameplate_are_clamped() {
    for (no_clamp, volts, amps) in [(0.0, 420.0, 18.0), (1.0, 600.0, 50.0)] {
        let mut desk = Desk::charging(&[("no_clamp", no_clamp)]);
        assert!((desk.value("accepted", "voltage") - 400.0).abs() < 1e-9);
        desk.node().set("command", "voltage", 600.0).unwrap();
        desk.node().set("command", "current", 50.0).unwrap();
        desk.wait(2.0);
        assert!((desk.value("accepted", "voltage") - volts).abs() < 1e-9);
        assert!((desk.value("accepted", "current") - amps).abs() < 1e-9);
    }
}

#[test]
fn asleep_it_says_nothing_and_awake_it_works_without_commands_again() {
    let mut desk = Desk::charging(&[]);
    desk.send(Sending::Stopped);
    desk.act(Action::PilotSource(PilotSource::Off));
    desk.wait(40.0);
    assert_eq!(desk.says("status", "state"), "missing");
    desk.act(Action::PilotSource(PilotSource::Pwm));
    desk.wait(6.0);
    assert!(desk.s2());
    assert_eq!(desk.says("status", "state"), "active");
}

#[test]
fn the_same_seed_gives_the_same_frames_however_time_is_cut() {
    let run = |steps: u32| {
        let mut desk = Desk::charging(&[("status_jitter", 5e-3)]);
        for _ in 0..steps {
            desk.wait(10.0 / f64::from(steps));
        }
        let now = desk.now;
        desk.node().figures("status", now).unwrap().unwrap()
    };
    assert_eq!(run(1), run(100));
}

/// With the supply on and a battery of 380 V: what the frames say is what its sensors read, to one step; and where commands are missing the
/// current has gone before S2 opens.
#[test]
fn with_power_it_says_what_its_sensors_read_and_loses_its_current_first() {
    let mut desk = Desk::new(&[("v_sense_gain", 1.01)]);
    desk.act(Action::LowVoltage { on: true });
    desk.act(Action::Proximity(Some(150.0)));
    desk.act(Action::SinkVoltage(380.0));
    desk.act(Action::LoadCurrent(100.0));
    desk.act(Action::Load { on: true });
    desk.act(Action::Supply { on: true });
    desk.act(Action::PilotSource(PilotSource::Pwm));
    desk.wait(1.0);
    desk.enable("on");
    desk.send(Sending::On);
    desk.wait(12.0);
    let now = desk.now;
    let says = desk.world.reported(now).unwrap();
    let current = |desk: &mut Desk| {
        let from = RunTime(desk.now.0 - 20_000_000);
        let now = desk.now;
        desk.world.mean(Place::DcCurrent, from, now)
    };
    // 10 A of the command, less than the offer allows.
    assert!((9.0..11.0).contains(&current(&mut desk)));
    assert!(
        (desk.value("status", "dc_voltage") - says.dc_v).abs() <= 1.0,
        "{says:?}"
    );
    assert!((says.dc_v / 380.0 - 1.01).abs() < 0.01, "{says:?}");
    assert!(
        (desk.value("status", "temperature") + 273.15 - says.temperature_k).abs() <= 1.5,
        "{says:?}"
    );
    // A lower set-point is followed.
    desk.node().set("command", "current", 5.0).unwrap();
    desk.wait(2.0);
    assert!((4.5..5.5).contains(&current(&mut desk)));
    desk.send(Sending::Stopped);
    while desk.s2() {
        desk.wait(0.01);
    }
    assert!(current(&mut desk).abs() < 0.5, "{}", current(&mut desk));
    assert!(desk.now.since(now) < Duration::from_secs(3));
}

/// Nobody answers beside an item that speaks no frames.
#[test]
fn beside_another_item_the_interface_is_alone() {
    let mut world = World::with_frames(&Setup::default(), map()).unwrap();
    let node = world.frames(RunTime::START).unwrap();
    node.send("command", Sending::On, RunTime::START).unwrap();
    let end = RunTime(2_000_000_000);
    assert_eq!(world.frames(end).unwrap().figures("status", end), Ok(None));
    assert!(World::new(&Setup::default()).unwrap().frames(end).is_none());
}

/// The program shows life for a while and hangs then: 2 s later the charger is told to stop, and stops.
#[test]
fn a_program_that_hangs_stops_the_charger() {
    let life = Life::default();
    let mut desk = Desk::charging(&[]);
    life.show(desk.now);
    desk.node().owned_by(life.clone());
    for _ in 0..20 {
        desk.wait(0.5);
        life.show(desk.now);
    }
    assert!(desk.s2() && desk.node().was_abandoned().is_none());
    let hung = desk.now;
    desk.wait(1.9);
    assert!(desk.s2());
    let after_s = desk.stops_after_s();
    assert!((0.1..1.1).contains(&after_s), "{after_s}");
    desk.wait(2.0);
    assert_eq!(
        desk.says("accepted", "enable"),
        "off",
        "it was told, and has not missed commands"
    );
    assert_eq!(desk.says("status", "fault"), "none");
    let at = desk.node().was_abandoned().unwrap().since(hung).as_secs_f64();
    assert!((2.0..2.2).contains(&at), "{at}");
    // It may be told again by a program that lives again.
    life.show(desk.now);
    desk.enable("on");
    for _ in 0..10 {
        desk.wait(0.5);
        life.show(desk.now);
    }
    assert!(desk.s2());
}
