//! A charger that gets warm, and what an hour of it costs.

use super::charger_plant::Plant;
use pilotage_virtual::physics::{Action, Node};
use std::time::Instant;

const OFFERED: f64 = 0.5333;
const ZERO_C: f64 = 273.15;

#[test]
fn an_hour_of_soak_ends_where_losses_and_resistances_say() {
    let mut plant = Plant::charging(&[], 400.0, OFFERED);
    let begun = Instant::now();
    plant.wait(3600.0);
    println!("an hour of soak took {:.1} ms", begun.elapsed().as_secs_f64() * 1e3);
    // P·R of three nodes: 0.008 + 0.06 K/W to the case.
    let lost_w = plant.input_w() - 400.0 * plant.mean(Node::DcCurrent);
    let rise = plant.says().temperature_k - 296.15;
    assert!((rise - lost_w * 0.068).abs() < 0.02 * rise, "{rise} {lost_w}");
    let coolant = plant.world.coolant_k(plant.now).unwrap() - 296.15;
    assert!((coolant - lost_w * 0.008).abs() < 0.03 * coolant, "{coolant}");
}

#[test]
fn a_warm_coolant_derates_it_and_never_stops_it() {
    let mut plant = Plant::charging(&[], 400.0, OFFERED);
    let mut last = f64::INFINITY;
    for celsius in [25.0, 45.0, 55.0, 65.0, 75.0, 85.0, 95.0] {
        plant.act(Action::CoolantTemperature(celsius + ZERO_C));
        plant.wait(1500.0);
        let amps = plant.rms(Node::InCurrent);
        assert!(amps <= last + 0.01, "{celsius}: {amps} after {last}");
        if celsius <= 55.0 {
            assert!(amps > 31.0, "{celsius}: {amps}");
        }
        last = amps;
        assert!(!plant.says().fault);
    }
    assert!(last < 20.0, "{last}");
    // Without derating it stops for its heat; a sensor that reads 25 K too much derates too early.
    let mut blind = Plant::charging(&[("no_derating", 1.0)], 400.0, OFFERED);
    blind.act(Action::CoolantTemperature(95.0 + ZERO_C));
    blind.wait(1500.0);
    assert!(blind.says().fault);
    let mut wrong = Plant::charging(&[("t_sensor_offset", 25.0)], 400.0, OFFERED);
    wrong.act(Action::CoolantTemperature(55.0 + ZERO_C));
    wrong.wait(1500.0);
    assert!(wrong.rms(Node::InCurrent) < 26.0);
    assert!((wrong.says().temperature_k - wrong.world.coolant_k(wrong.now).unwrap()) > 25.0);
}

#[test]
fn without_coolant_it_derates_or_stops_and_a_cracked_joint_opens_hot_only() {
    let mut dry = Plant::charging(&[], 400.0, OFFERED);
    dry.act(Action::Coolant { on: false });
    dry.wait(3600.0);
    // It derates to less than half, and goes on.
    assert!((1.0..16.0).contains(&dry.rms(Node::InCurrent)) && !dry.says().fault);
    assert!(dry.says().temperature_k < 110.0 + ZERO_C);
    let mut cracked = Plant::charging(&[("crack_rise", 40.0)], 400.0, OFFERED);
    assert!(cracked.says().enabled);
    cracked.wait(1200.0);
    assert!(!cracked.says().enabled && cracked.says().fault);
}

/// However its parts are made, it never does more than its bound in a second.
#[test]
fn no_charger_is_busy_without_end() {
    for changes in [
        &[("bandwidth_cv", 1e6), ("bandwidth_cc", 1e6)][..],
        &[("c_bulk", 1e-6), ("v_bulk_low", 399.9)],
        &[("l_pfc", 0.0), ("r_inrush", 0.001), ("c_bulk", 1e-5)],
        &[("v_sense_gain", 0.5), ("ovp_ratio", 5.0)],
        &[
            ("t_ride", 0.0),
            ("t_restart", 0.0),
            ("t_bypass", 0.0),
            ("t_boost", 0.0),
            ("v_drop_out", 225.0),
            ("v_drop_hysteresis", 0.0),
            ("z_source", 2.0),
        ],
        &[("t_precharge", 0.0), ("precharge_dv", 1000.0), ("c_out", 1e-9)],
    ] {
        let mut plant = Plant::charging(changes, 400.0, OFFERED);
        for k in 0..40 {
            plant.act(Action::Load { on: k % 3 != 0 });
            plant.act(Action::SinkVoltage(if k % 5 == 0 {
                0.0
            } else {
                300.0 + f64::from(k) * 3.0
            }));
            plant.act(Action::LoadCurrent(f64::from(k)));
            plant.wait(1.0);
        }
        // That it comes here at all is what is tried: a regulator that chatters would never let the world reach the end of a second.
        let says = plant.says();
        assert!(says.fault || says.dc_v > 1.0, "{changes:?}: {says:?}");
        assert!(says.dc_v.is_finite() && says.ac_a < 100.0, "{changes:?}: {says:?}");
    }
}
