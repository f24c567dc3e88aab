//! The control side of a charger at an exact pilot source: levels, leak, edges at the comparator, decisions, sleep, proximity.

use pilotage_core::RunTime;
use pilotage_virtual::physics::{Action, DeadPath, ItemSort, Node, Pair, PilotSource, Setup, Truth, World};
use std::time::Duration;

/// A charger on its bench, and the time that its test has reached.
struct Desk {
    world: World,
    now: RunTime,
}

impl Desk {
    fn new(changes: &[(&str, f64)]) -> Self {
        let setup = Setup {
            item: ItemSort::OnboardCharger,
            // The diode's 0.70 V are stated for 25 °C.
            amounts: [("ambient", 298.15)]
                .iter()
                .chain(changes)
                .map(|&(name, value)| (name.to_owned(), value))
                .collect(),
            seed: 1,
            ..Setup::default()
        };
        Self {
            world: World::new(&setup).unwrap(),
            now: RunTime::START,
        }
    }

    /// Supplied with 12 V, latched, the high rail steady, for three seconds.
    fn awake(changes: &[(&str, f64)]) -> Self {
        let mut desk = Self::new(changes);
        desk.act(Action::LowVoltageLevel(12.0));
        desk.act(Action::LowVoltage { on: true });
        desk.act(Action::Proximity(Some(150.0)));
        desk.source(PilotSource::Steady);
        desk.wait(3.0);
        desk
    }

    /// Awake, and offered 50 % for five seconds: a healthy one has closed S2.
    fn charging(changes: &[(&str, f64)]) -> Self {
        let mut desk = Self::awake(changes);
        desk.source(PilotSource::Pwm);
        desk.wait(5.0);
        desk
    }

    fn act(&mut self, action: Action) {
        self.world.act(self.now, action);
    }

    fn source(&mut self, source: PilotSource) {
        self.act(Action::PilotSource(source));
    }

    fn wait(&mut self, span_s: f64) {
        self.now = self.now.plus(Duration::from_secs_f64(span_s));
        self.truth();
    }

    fn truth(&mut self) -> Truth {
        self.world.truth(self.now)
    }

    fn s2(&mut self) -> bool {
        self.truth().commanded
    }

    fn at(&mut self, node: Node) -> f64 {
        self.world.mean(node, self.now, self.now)
    }

    /// The settled level of a steady source.
    fn level(&mut self, source: PilotSource) -> f64 {
        self.source(source);
        self.wait(0.1);
        self.at(Node::Pilot)
    }

    /// Highest and lowest value over the last four pulses.
    fn pulse(&mut self) -> (f64, f64) {
        let from = RunTime(self.now.0 - 4_000_000);
        let mut samples = Vec::new();
        self.world.samples(Node::Pilot, from, 1e-6, 4000, &mut samples);
        let high = samples.iter().copied().fold(f64::MIN, f64::max);
        (high, samples.iter().copied().fold(f64::MAX, f64::min))
    }
}

fn near(found: f64, expected: f64, by: f64) {
    assert!((found - expected).abs() <= by, "{found}, expected {expected} ± {by}");
}

/// 12 V behind exactly 1 kΩ, diode 0.70 V at 5 mA by its law: 8.975 V and 5.997 V (bisection of V = Vd(I) + I·R done outside).
#[test]
fn levels_at_an_exact_source_are_those_of_the_diodes_law() {
    let mut desk = Desk::charging(&[]);
    let (high, low) = desk.pulse();
    near(high, 5.997, 1e-3);
    // Healthy leaks of 1 GΩ take 12 µV each.
    near(low, -12.0, 1e-4);
    near(desk.level(PilotSource::Fault), -12.0, 1e-4);
    let mut desk = Desk::awake(&[]);
    near(desk.at(Node::Pilot), 8.975, 1e-3);
}

/// Asleep and without any supply the parts behind the pilot are the same: they are passive.
#[test]
fn r2_and_the_diode_need_no_supply() {
    let mut desk = Desk::new(&[]);
    near(desk.level(PilotSource::Steady), 8.975, 1e-3);
    desk.act(Action::PilotSourceHigh(9.0));
    // 9 V − I·1 kΩ = Vd(I) + I·2740 Ω: 2.2248 mA, 6.7752 V.
    near(desk.level(PilotSource::Steady), 6.7752, 5e-4);
    assert!(!desk.s2());
}

/// Rows that are derived in the fact sheet: a shorted diode halves both ways, a leak of 20 kΩ leaves 12 V · 20/21.
#[test]
fn a_shorted_diode_a_leak_and_an_open_diode_look_as_calculated() {
    let mut shorted = Desk::new(&[("diode_shorted", 1.0)]);
    near(shorted.level(PilotSource::Steady), 8.791, 1e-3);
    near(shorted.level(PilotSource::Fault), -8.791, 1e-3);
    let mut leaking = Desk::new(&[("r_cp_leak", 20e3), ("diode_open", 1.0)]);
    near(leaking.level(PilotSource::Steady), 11.4286, 1e-3);
    near(leaking.level(PilotSource::Fault), -11.4286, 1e-3);
    let mut open = Desk::new(&[("diode_open", 1.0)]);
    near(open.level(PilotSource::Steady), 12.0, 1e-4);
    // 200 µA at −9 V: −9 V + 0.2 V over 1 kΩ; R2 and the diode share the other 8.8 V.
    let mut leaky = Desk::new(&[("r_diode_reverse", 41.26e3)]);
    leaky.act(Action::PilotSourceLow(-9.0));
    near(leaky.level(PilotSource::Fault), -8.8, 1e-3);
    leaky.source(PilotSource::Off);
    let reverse = leaky.world.resistance(DeadPath::PilotReverse, leaky.now).unwrap();
    near(reverse, 1.0 / (1.0 / 44e3 + 1.0 / 10e6 + 1e-9), 1.0);
}

/// Published ngspice figure of the pilot circuit: in state C with 5.5 nF the pulse is 0.186 points narrower at 0 V (step source);
/// 0.6 A for each point of the duty.
#[test]
fn the_comparator_sees_what_slow_edges_leave_of_the_pulse() {
    let mut desk = Desk::charging(&[("th_pilot", 0.0), ("c_vehicle", 5.2e-9), ("bench_t_rise", 1e-9)]);
    assert!(desk.s2());
    near(desk.truth().load_a, 30.0 - 0.6 * 0.186, 0.6 * 0.004);
}

#[test]
fn s2_closes_after_the_pulses_are_averaged_and_opens_again_for_each_reason() {
    // 100 pulses and the task: 0.12 s; then 1.5 s until everything is ready.
    let mut desk = Desk::awake(&[]);
    desk.source(PilotSource::Pwm);
    desk.wait(1.61);
    assert!(!desk.s2());
    desk.wait(0.02);
    assert!(desk.s2());
    for (source, opens_s) in [
        (PilotSource::Steady, 0.63),
        (PilotSource::Fault, 0.06),
        (PilotSource::Off, 0.06),
        (PilotSource::Shorted, 0.06),
    ] {
        let mut desk = Desk::charging(&[]);
        desk.source(source);
        desk.wait(opens_s - 0.01);
        assert!(desk.s2(), "{source:?}");
        desk.wait(0.02);
        assert!(!desk.s2(), "{source:?}");
        assert!(desk.truth().load_a.abs() < f64::EPSILON, "nothing is allowed behind it");
    }
    let mut desk = Desk::charging(&[]);
    desk.act(Action::Proximity(Some(480.0)));
    desk.wait(0.035);
    assert!(!desk.s2(), "the latch is quickest");
}

#[test]
fn duties_are_taken_by_the_rule_and_nothing_else_is() {
    for (duty, taken) in [
        (0.02, false),
        (0.05, false),
        (0.075, false),
        (0.09, true),
        (0.5, true),
        (0.96, true),
        (0.98, false),
        (1.0, false),
    ] {
        let mut desk = Desk::awake(&[]);
        desk.act(Action::PilotSourceDuty(duty));
        desk.source(PilotSource::Pwm);
        desk.wait(6.0);
        assert_eq!(desk.s2(), taken, "{duty}");
    }
    for (hertz, taken) in [(900.0, false), (980.0, true), (1020.0, true), (1100.0, false)] {
        let mut desk = Desk::awake(&[]);
        desk.act(Action::PilotSourceFrequency(hertz));
        desk.source(PilotSource::Pwm);
        desk.wait(6.0);
        assert_eq!(desk.s2(), taken, "{hertz} Hz");
    }
    // No standard demands the negative half of a vehicle.
    let mut desk = Desk::awake(&[]);
    desk.source(PilotSource::PositiveOnly);
    desk.wait(6.0);
    assert!(desk.s2());
}

/// A mean of 100 pulses scatters by a tenth of one; a mean of two by 0.7 of it.
#[test]
fn jitter_moves_a_decoder_that_averages_too_little_only() {
    for (count, taken) in [(100.0, true), (2.0, false)] {
        let mut desk = Desk::awake(&[("n_average", count)]);
        desk.act(Action::PilotSourceDuty(0.088));
        desk.act(Action::PilotSourceJitter(0.005));
        desk.source(PilotSource::Pwm);
        desk.wait(8.0);
        assert_eq!(desk.s2(), taken, "{count} pulses");
    }
}

#[test]
fn it_gives_up_without_an_ac_supply_until_the_next_offer() {
    let mut desk = Desk::charging(&[("t_no_supply", 10.0)]);
    assert!(desk.s2());
    desk.wait(12.0);
    assert!(!desk.s2());
    desk.wait(60.0);
    assert!(!desk.s2());
    desk.source(PilotSource::Steady);
    desk.wait(1.0);
    desk.source(PilotSource::Pwm);
    desk.wait(5.0);
    assert!(desk.s2());
}

#[test]
fn it_wakes_by_its_supply_and_by_the_pilot_and_sleeps_without() {
    let mut desk = Desk::new(&[]);
    desk.act(Action::LowVoltageLevel(10.0));
    desk.act(Action::LowVoltage { on: true });
    desk.wait(1.0);
    near(desk.at(Node::LowVoltageCurrent), 0.5, 1e-9);
    desk.wait(25.0);
    near(desk.at(Node::LowVoltageCurrent), 0.5e-3, 1e-9);
    desk.source(PilotSource::Steady);
    desk.wait(1.0);
    near(desk.at(Node::LowVoltageCurrent), 0.5, 1e-9);
    desk.act(Action::LowVoltageLevel(5.0));
    desk.wait(0.1);
    near(desk.at(Node::LowVoltageCurrent), 0.5e-3, 1e-9);
    desk.act(Action::LowVoltageLevel(12.0));
    desk.wait(1.0);
    near(desk.at(Node::LowVoltageCurrent), 5.0 / 12.0, 1e-9);
    let mut dead = Desk::awake(&[("lv_fuse_open", 1.0)]);
    near(dead.at(Node::LowVoltageCurrent), 0.0, 0.0);
    dead.source(PilotSource::Pwm);
    dead.wait(10.0);
    assert!(!dead.s2());
}

/// Derived in the fact sheet for 5 V, 330 Ω and 2700 Ω: 4.455 V, 1.505 V and 2.763 V.
#[test]
fn proximity_is_a_divider_that_the_latch_changes() {
    let mut desk = Desk::awake(&[("bench_r_meter", 1e12)]);
    near(desk.at(Node::Proximity), 1.505, 1e-3);
    for (ohm, volts) in [(Some(480.0), 2.763), (None, 4.455)] {
        desk.act(Action::Proximity(ohm));
        near(desk.at(Node::Proximity), volts, 1e-3);
    }
    assert_eq!(
        desk.world.resistance(DeadPath::Proximity, desk.now),
        None,
        "it is supplied"
    );
    desk.act(Action::LowVoltage { on: false });
    near(
        desk.world.resistance(DeadPath::Proximity, desk.now).unwrap(),
        2700.0,
        0.1,
    );
    near(desk.at(Node::Proximity), 0.0, 0.0);
}

#[test]
fn the_bench_checks_its_own_source_with_nothing_on_the_charger() {
    let mut desk = Desk::charging(&[]);
    desk.source(PilotSource::CheckHigh);
    near(desk.at(Node::PilotSource), 12.0 * 10e6 / 10.001e6, 1e-9);
    desk.wait(1.0);
    assert!(!desk.s2());
    near(desk.at(Node::Pilot), 0.0, 0.7);
    desk.source(PilotSource::Check);
    assert_eq!(desk.world.resistance(DeadPath::PilotSource, desk.now), Some(1000.0));
    desk.source(PilotSource::Off);
    assert_eq!(desk.world.resistance(DeadPath::PilotSource, desk.now), None);
    let fuse = |open: f64| {
        let mut desk = Desk::new(&[("ac_fuse_open", open)]);
        desk.world.resistance(DeadPath::AcPins(Pair::LN), desk.now).unwrap()
    };
    near(fuse(0.0), 1e6 * 10e6 / 11e6, 1.0);
    near(fuse(1.0), 10e6, 1.0);
}

/// An hour on the desk costs nothing but its readings: everything is an event.
#[test]
fn the_same_acts_give_the_same_bits() {
    let play = || {
        let mut desk = Desk::awake(&[]);
        desk.act(Action::PilotSourceJitter(0.003));
        desk.source(PilotSource::Pwm);
        desk.wait(20.0);
        let mut samples = Vec::new();
        desk.world.samples(
            Node::Pilot,
            RunTime(desk.now.0 - 10_000_000),
            1e-6,
            10_000,
            &mut samples,
        );
        (
            samples.iter().map(|v| v.to_bits()).collect::<Vec<_>>(),
            desk.truth().load_a.to_bits(),
        )
    };
    assert_eq!(play(), play());
}
