//! Closing and opening of a healthy item, against the times of IEC 61851-1, Annex A.

use crate::rig::Rig;
use pilotage_core::RunTime;
use pilotage_virtual::physics::{Action, Node, Pair, PilotState, Pole};

#[test]
fn closes_within_three_seconds_of_state_c_and_not_before() {
    let mut rig = Rig::offering(&[]);
    assert!(!rig.is_closed());
    rig.load(PilotState::C);
    let delay_s = rig.turns_after(true, 4.0).expect("closes");
    assert!(delay_s > 0.02 && delay_s < 3.0, "{delay_s}");
    assert!((rig.rms(Node::Out(Pair::LN)) - 230.0).abs() < 0.5);
}

#[test]
fn opens_within_100_ms_on_every_way_out_and_at_every_phase() {
    for state in [PilotState::B, PilotState::A, PilotState::Open] {
        for phase in 0..8 {
            let mut rig = Rig::closed(&[]);
            rig.draw(32.0);
            rig.wait(1.0 + 0.0025 * f64::from(phase));
            rig.load(state);
            let delay_s = rig.turns_after(false, 0.5).expect("opens");
            assert!(delay_s > 0.0 && delay_s < 0.1, "{state:?} {phase}: {delay_s}");
            assert!(!rig.is_closed());
        }
    }
}

/// Bounces of the L pole when state C comes this long after a zero of the mains: the drop over a pole that opens again
/// jumps from nothing to tens of volts or more.
fn bounces_seen(count: u32, after_zero_s: f64) -> usize {
    let mut rig = Rig::offering(&[("bounces", f64::from(count)), ("t_bounce", 0.002), ("t_skew", 0.0)]);
    rig.wait(after_zero_s);
    rig.load(PilotState::C);
    rig.wait(1.0);
    let live = rig.past(Node::Out(Pair::LN), 1.0, 1e-5);
    let first = live.iter().position(|v| v.abs() > 100.0).expect("closes");
    let drop = rig.past(Node::Path(Pole::L), 1.0, 1e-5);
    let after = &drop[first..first + 800];
    after
        .windows(2)
        .filter(|pair| pair[0].abs() < 0.5 && pair[1].abs() > 20.0)
        .count()
}

#[test]
fn a_pole_bounces_as_often_as_its_parameter_says() {
    for count in 0..4 {
        // A bounce at a zero of the sine cannot be seen: the best of several moments counts.
        let most = (0..5).map(|k| bounces_seen(count, 0.0021 * f64::from(k))).max();
        assert_eq!(most, Some(count as usize));
    }
}

#[test]
fn the_poles_touch_as_far_apart_as_their_skew() {
    let mut rig = Rig::offering(&[("bounces", 0.0), ("t_skew", 0.004)]);
    rig.load(PilotState::C);
    rig.wait(1.0);
    let touch = |drop: &[f64]| drop.iter().rposition(|v| v.abs() > 5.0).unwrap_or(0) as f64 * 1e-5;
    let l = touch(&rig.past(Node::Path(Pole::L), 1.0, 1e-5));
    let n = touch(&rig.past(Node::Path(Pole::N), 1.0, 1e-5));
    assert!((n - l - 0.004).abs() < 5e-4, "{l} {n}");
}

#[test]
fn the_current_ends_at_one_of_its_zeros() {
    for phase in 0..10 {
        let mut rig = Rig::closed(&[]);
        rig.draw(16.0);
        rig.wait(1.0 + 0.001 * f64::from(phase));
        rig.load(PilotState::B);
        rig.wait(0.3);
        let amps = rig.past(Node::OutCurrent, 0.3, 1e-6);
        let last = amps.iter().rposition(|a| *a != 0.0).expect("current flowed");
        // 16 A rms rises by 7.1 A in each millisecond after a zero: one sample before the end there is next to none.
        assert!(amps[last].abs() < 0.02, "{}", amps[last]);
        assert!((amps.iter().copied().fold(0.0, f64::max) - 22.63).abs() < 0.01);
    }
}

#[test]
fn without_current_there_is_no_arc() {
    let mut rig = Rig::closed(&[]);
    rig.load(PilotState::B);
    let unloaded = rig.turns_after(false, 0.5).unwrap();
    // 1 ms tick, 8 samples, low-pass, 15 ms logic, 12 ms release.
    assert!(unloaded < 0.045, "{unloaded}");
}

#[test]
fn a_weak_supply_drops_the_coil_out_and_it_returns_higher() {
    let mut rig = Rig::closed(&[]);
    let level = |rig: &mut Rig, volts: f64| {
        rig.act(Action::SupplyVoltage(volts));
        rig.wait(0.02);
        rig.is_closed()
    };
    assert!(level(&mut rig, 120.0), "0.52 of nominal holds");
    assert!(!level(&mut rig, 100.0), "0.43 of nominal drops out");
    assert!(!level(&mut rig, 160.0), "0.70 of nominal does not pull in");
}

#[test]
fn a_gap_of_three_milliseconds_does_not_open_and_one_of_100_does() {
    for (gap_s, opens) in [(0.001, false), (0.003, false), (0.1, true), (0.3, true)] {
        let mut rig = Rig::closed(&[]);
        rig.load(PilotState::Open);
        rig.wait(gap_s);
        rig.load(PilotState::C);
        rig.wait(0.09);
        assert_eq!(!rig.is_closed(), opens, "{gap_s}");
    }
}

#[test]
fn a_closed_path_has_the_resistance_of_contact_and_copper() {
    let mut rig = Rig::closed(&[("ambient", 293.15), ("alpha", 0.0)]);
    rig.draw(32.0);
    rig.wait(0.5);
    let drop_v = rig.rms(Node::Path(Pole::L));
    let amps = rig.rms(Node::OutCurrent);
    // 17.2 mΩ·mm²/m · 5 m / 6 mm² = 14.33 mΩ, and 3 mΩ of contact and terminals.
    assert!((amps - 32.0).abs() < 1e-9);
    assert!((drop_v / amps - 0.017_333).abs() < 1e-5, "{}", drop_v / amps);
}

#[test]
fn heat_raises_the_terminal_and_the_contact() {
    let mut rig = Rig::closed(&[("r_pole", 0.025), ("k_T", 0.0)]);
    rig.draw(32.0);
    let cold = rig.truth().terminal_k;
    rig.wait(3600.0);
    let hot = rig.world.temperature_k(rig.now);
    // 25.6 W at 25 °C; the loop gain is 32²·0.025·0.0039·7 = 0.70, so the rise ends near 25.4·7/0.30 = 590 K.
    assert!(hot - cold > 300.0, "{cold} {hot}");
    let mut healthy = Rig::closed(&[]);
    healthy.draw(32.0);
    healthy.wait(3600.0);
    let rise = healthy.world.temperature_k(healthy.now) - 296.15;
    assert!(rise > 10.0 && rise < 50.0, "{rise}");
}

#[test]
fn a_past_reading_uses_the_heat_of_its_own_time() {
    let mut rig = Rig::closed(&[("r_pole", 0.017)]);
    rig.draw(32.0);
    rig.wait(1.0);
    let early = rig.now;
    let window = |at: RunTime| (RunTime(at.0 - 200_000_000), at);
    let first = rig.world.rms(Node::Path(Pole::L), window(early).0, window(early).1);
    rig.wait(60.0);
    let again = rig.world.rms(Node::Path(Pole::L), window(early).0, window(early).1);
    let later = rig.rms(Node::Path(Pole::L));
    assert_eq!(first.to_bits(), again.to_bits());
    assert!(later > first * 1.02, "{first} {later}");
}

#[test]
fn a_long_bounce_under_load_welds_and_a_short_one_does_not() {
    let stays_closed = |t_bounce: f64| {
        let mut rig = Rig::offering(&[("t_bounce", t_bounce), ("sense_weld", 0.0)]);
        rig.draw(32.0);
        rig.load(PilotState::C);
        rig.wait(1.0);
        rig.load(PilotState::B);
        rig.wait(1.0);
        rig.is_closed()
    };
    // ∫i² dt of the first arc: 1024 A² · 1.2 ms = 1.2 A²s, or 1024 A² · 60 ms = 61 A²s; the pole stands 20 A²s.
    assert!(!stays_closed(0.0012));
    assert!(stays_closed(0.06));
}

#[test]
fn a_free_wheel_diode_delays_the_opening_by_the_decay_of_the_coils_current() {
    let opens_s = |changes: &[(&str, f64)]| {
        let mut rig = Rig::closed(changes);
        rig.load(PilotState::B);
        let start_s = rig.now.seconds();
        while rig.truth().pole_l {
            rig.wait(1e-4);
        }
        rig.now.seconds() - start_s
    };
    let without = opens_s(&[]);
    // (L/R)·ln(I₀/I_d) with I_d = 0.45·I₀.
    let expected = 0.05 * (1.0 / 0.45_f64).ln();
    let with = opens_s(&[("tau_coil", 0.05)]);
    assert!((with - without - expected).abs() < 2e-4, "{with} {without} {expected}");
    // A coil that draws less lets go sooner.
    let weak = opens_s(&[("tau_coil", 0.05), ("r_coil", 3300.0)]);
    assert!((with - weak - 0.05 * 1.1_f64.ln()).abs() < 2e-4, "{with} {weak}");
}
