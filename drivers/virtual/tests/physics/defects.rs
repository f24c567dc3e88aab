//! Each defect shows where its step looks, and the healthy twin does not show it. (The steps themselves are tested
//! where they run; here the physics alone is asked.)

use crate::rig::Rig;
use pilotage_virtual::physics::{Action, Generator, Node, Pair, PilotState, Pole, Seen, Setup};

fn closes(changes: &[(&str, f64)], state: PilotState, within_s: f64) -> bool {
    let mut rig = Rig::offering(changes);
    rig.load(state);
    rig.wait(within_s);
    rig.is_closed()
}

#[test]
fn w06_w07_the_offer_moves() {
    // 32 A is 53.33 % (IEC 61851-1, Table A.7); 40 A is 66.67 %.
    let duty = |changes: &[(&str, f64)]| Rig::offering(changes).duty().unwrap();
    assert!((duty(&[]) - 0.533_333).abs() < 1e-6);
    assert!((duty(&[("d_offset", -0.012)]) - 0.521_333).abs() < 1e-6);
    assert!((duty(&[("rated_set", 40.0)]) - 0.666_667).abs() < 1e-6);
    for (amps, percent) in [
        (6.0, 10.0),
        (16.0, 26.667),
        (48.0, 80.0),
        (51.0, 85.0),
        (63.0, 89.2),
        (80.0, 96.0),
    ] {
        let found = duty(&[("rated_current", amps)]);
        assert!((found * 100.0 - percent).abs() < 1e-3, "{amps} A: {found}");
    }
    assert!(duty(&[("rated_current", 63.0), ("map", 1.0)]) > 0.95);
}

#[test]
fn w12_pwm_runs_in_a() {
    assert_eq!(Rig::booted(&[]).truth().generator, Generator::High);
    assert!(Rig::booted(&[("pwm_in_a", 1.0)]).duty().is_some());
}

#[test]
fn w13_waits_for_ever() {
    let mut rig = Rig::offering(&[("pwm_enable", 0.0)]);
    rig.wait(60.0);
    assert_eq!(rig.truth().generator, Generator::High);
    assert_eq!(rig.truth().seen, Seen::B);
}

#[test]
fn w14_w15_w22_closing() {
    assert!(closes(&[], PilotState::C, 3.0));
    assert!(!closes(&[("r_coil", 1e9)], PilotState::C, 10.0));
    assert!(!closes(&[("t_close_logic", 4.2)], PilotState::C, 3.5));
    assert!(closes(&[("t_close_logic", 4.2)], PilotState::C, 4.5));
    let failures = |p_fail: f64| {
        let mut rig = Rig::offering(&[("p_fail", p_fail)]);
        let mut failures = 0;
        for _ in 0..60 {
            rig.load(PilotState::C);
            rig.wait(2.0);
            failures += u32::from(!rig.is_closed());
            rig.load(PilotState::B);
            rig.wait(1.0);
        }
        failures
    };
    assert_eq!(failures(0.0), 0);
    assert!((1..12).contains(&failures(0.05)), "{}", failures(0.05));
}

#[test]
fn w16_opens_late() {
    let mut rig = Rig::closed(&[("t_open_logic", 0.34)]);
    rig.load(PilotState::B);
    let delay_s = rig.turns_after(false, 1.0).unwrap();
    assert!(delay_s > 0.34 && delay_s < 0.4, "{delay_s}");
}

#[test]
fn w17_w18_w19_welded_poles() {
    let live = |changes: &[(&str, f64)]| {
        let mut rig = Rig::booted(changes);
        rig.act(Action::Burden { on: true });
        rig.wait(0.5);
        [Pair::LN, Pair::LPe, Pair::NPe].map(|pair| rig.rms(Node::Out(pair)) > 30.0)
    };
    assert_eq!(live(&[]), [false; 3]);
    assert!(live(&[("pole_l_stuck", 1.0)])[1]);
    assert_eq!(
        live(&[("pole_n_stuck", 1.0)]),
        [false; 3],
        "a welded N alone reads nothing in TN"
    );
    assert_eq!(
        live(&[("pole_l_stuck", 1.0), ("pole_n_stuck", 1.0)]),
        [true, true, false]
    );
    let mut rig = Rig::booted(&[("pole_l_stuck", 1.0)]);
    rig.wait(1.0);
    assert_eq!(
        rig.truth().generator,
        Generator::Low,
        "the weld monitor declares a fault"
    );
    assert!(
        Rig::booted(&[("pole_l_stuck", 1.0), ("sense_weld", 0.0)])
            .truth()
            .generator
            == Generator::High
    );
}

#[test]
fn w17_after_opening_the_drop_tells_which_pole_sticks() {
    let mut rig = Rig::closed(&[("pole_l_stuck", 1.0), ("sense_weld", 0.0)]);
    rig.load(PilotState::B);
    rig.wait(1.0);
    assert!(rig.rms(Node::Path(Pole::L)) < 1.0, "a welded pole carries no voltage");
}

#[test]
fn w21_diode_check() {
    let closes = |changes: &[(&str, f64)]| {
        let mut rig = Rig::booted(changes);
        rig.act(Action::PilotDiode { shorted: true });
        rig.load(PilotState::B);
        rig.wait(3.0);
        rig.load(PilotState::C);
        rig.wait(30.0);
        rig.is_closed()
    };
    assert!(!closes(&[]));
    assert!(closes(&[("check_vneg", 0.0)]));
}

#[test]
fn a_diode_shorted_after_it_was_seen_still_prevents_closing() {
    let mut rig = Rig::offering(&[]);
    rig.act(Action::PilotDiode { shorted: true });
    rig.wait(1.0);
    rig.load(PilotState::C);
    rig.wait(30.0);
    assert!(!rig.is_closed());
}

#[test]
fn w21b_closes_in_b() {
    assert!(!Rig::offering(&[]).is_closed());
    assert!(Rig::offering(&[("closes_in_b", 1.0)]).is_closed());
}

#[test]
fn w23_short_of_the_pilot() {
    let after = |changes: &[(&str, f64)]| {
        let mut rig = Rig::closed(changes);
        rig.wait(5.0);
        rig.load(PilotState::E);
        rig.wait(3.0);
        (rig.is_closed(), rig)
    };
    let (closed, mut rig) = after(&[]);
    assert!(!closed);
    rig.wait(10.0);
    rig.load(PilotState::B);
    rig.wait(5.0);
    assert!(rig.duty().is_some(), "it recovers");
    rig.load(PilotState::C);
    rig.wait(2.0);
    assert!(rig.is_closed());
    assert!(after(&[("check_short", 0.0)]).0);
}

#[test]
fn w24_ventilation() {
    assert!(!closes(&[], PilotState::D, 5.0));
    assert!(closes(&[("accepts_d", 1.0)], PilotState::D, 5.0));
    let mut rig = Rig::closed(&[]);
    rig.load(PilotState::D);
    rig.wait(3.0);
    assert!(!rig.is_closed());
    let mut ventilated = Rig::of(&Setup {
        words: [("ventilation".to_owned(), "present".to_owned())].into(),
        ..Setup::default()
    });
    ventilated.act(Action::Supply { on: true });
    ventilated.wait(3.0);
    ventilated.load(PilotState::D);
    ventilated.wait(5.0);
    assert!(ventilated.is_closed());
}

#[test]
fn w25_lost_earth() {
    assert!(!closes(&[("r_pe", 1e6)], PilotState::C, 5.0));
    assert!(closes(&[("r_pe", 1e6), ("check_pe", 0.0)], PilotState::C, 5.0));
}

#[test]
fn w33_overcurrent() {
    let after = |changes: &[(&str, f64)], amps: f64| {
        let mut rig = Rig::closed(changes);
        rig.draw(amps);
        rig.wait(10.0);
        rig.is_closed()
    };
    assert!(after(&[], 32.0 * 1.05) && !after(&[], 32.0 * 1.25));
    assert!(after(&[("check_overcurrent", 0.0)], 32.0 * 1.5));
}

#[test]
fn w37_w38_power_returns() {
    let back = |changes: &[(&str, f64)]| {
        let mut rig = Rig::closed(changes);
        rig.act(Action::Supply { on: false });
        rig.wait(10.0);
        assert!(!rig.is_closed());
        rig.act(Action::Supply { on: true });
        rig.wait(1.8);
        let early = rig.is_closed();
        rig.wait(10.0);
        (early, rig.is_closed())
    };
    assert_eq!(back(&[]), (false, true), "self-test, X2, then it closes");
    assert!(back(&[("closes_at_return", 1.0)]).0);
    assert_eq!(back(&[("no_return", 1.0)]), (false, false));
}

#[test]
fn w39_w40_derating_by_heat() {
    let loaded = |changes: &[(&str, f64)]| {
        let mut all = vec![("r_pole", 0.012)];
        all.extend_from_slice(changes);
        let mut rig = Rig::closed(&all);
        rig.draw(32.0);
        rig.wait(3600.0);
        rig.duty().unwrap_or(0.0)
    };
    assert!(loaded(&[]) < 0.5, "{}", loaded(&[]));
    assert!((loaded(&[("k_T", 0.0)]) - 0.5333).abs() < 1e-4);
    let mut rig = Rig::closed(&[("sensor_offset", 30.0)]);
    rig.draw(32.0);
    rig.wait(3600.0);
    assert!(rig.duty().unwrap() < 0.53);
}

/// The pilot resistance swept in state B until the item closes; returns the pilot voltage there.
fn closing_voltage(changes: &[(&str, f64)]) -> Option<f64> {
    let mut rig = Rig::offering(changes);
    let mut ohm = 2740.0;
    while ohm > 300.0 {
        rig.act(Action::PilotResistance(ohm));
        rig.wait(0.2);
        if rig.is_closed() {
            return Some(rig.pilot_levels().0);
        }
        ohm *= 0.99;
    }
    None
}

#[test]
fn w50_threshold_between_b_and_c() {
    let healthy = closing_voltage(&[]).unwrap();
    assert!(healthy > 7.0 && healthy < 8.0, "{healthy}");
    let moved = closing_voltage(&[("th_bc", 6.4)]).unwrap();
    assert!(moved > 6.2 && moved < 6.5, "{moved}");
}

#[test]
fn w51_quick_replug() {
    let closes_without_offer = |changes: &[(&str, f64)]| {
        let mut rig = Rig::booted(changes);
        let mut without_offer = false;
        for _ in 0..5 {
            for state in [
                PilotState::A,
                PilotState::B,
                PilotState::C,
                PilotState::B,
                PilotState::A,
            ] {
                rig.load(state);
                rig.wait(0.3);
                without_offer |= rig.is_closed() && rig.duty().is_none();
            }
        }
        without_offer
    };
    assert!(!closes_without_offer(&[]));
    assert!(closes_without_offer(&[("race_replug", 1.0)]));
}

#[test]
fn w52_filter_of_the_pilot() {
    let mut slow = Rig::closed(&[("tau_state", 0.8)]);
    slow.wait(10.0);
    slow.load(PilotState::B);
    let delay_s = slow.turns_after(false, 2.0).unwrap();
    assert!(delay_s > 0.3, "{delay_s}");
    // A quick filter alone does not let go for a gap of 3 ms: the opening timer of 15 ms bridges it.
    let mut nervous = Rig::closed(&[("tau_state", 1e-4), ("debounce", 1.0), ("t_open_logic", 0.001)]);
    nervous.load(PilotState::Open);
    nervous.wait(0.003);
    nervous.load(PilotState::C);
    nervous.wait(0.05);
    assert!(!nervous.is_closed());
}

#[test]
fn hold_up_bridges_a_short_dip() {
    let after = |changes: &[(&str, f64)]| {
        let mut rig = Rig::offering(changes);
        rig.act(Action::Supply { on: false });
        rig.wait(0.02);
        rig.act(Action::Supply { on: true });
        rig.wait(0.1);
        rig.truth().generator
    };
    assert!(matches!(after(&[]), Generator::Pwm(_)));
    assert_eq!(after(&[("e_holdup", 0.005)]), Generator::Off);
}

#[test]
fn w49_frozen_firmware_stays_closed() {
    let mut rig = Rig::closed(&[("frozen", 1.0)]);
    rig.load(PilotState::A);
    rig.wait(5.0);
    assert!(rig.is_closed() && rig.duty().is_some());
}
