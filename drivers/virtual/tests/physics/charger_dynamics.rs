//! A charger in motion: starting, stopping, inrush, dips, load dump, discharge; each against its closed form.

use super::charger_plant::Plant;
use pilotage_core::RunTime;
use pilotage_virtual::physics::{Action, Command, DcPair, DeadPath, Node, Pair, PilotSource};

const DC_V: Node = Node::Dc(DcPair::PlusMinus);
const IN_V: Node = Node::In(Pair::LN);
const OFFERED: f64 = 0.5333;

fn near(value: f64, expected: f64, by: f64) {
    assert!((value - expected).abs() <= by, "{value}, expected {expected} ± {by}");
}

fn within(value: f64, expected: f64, part: f64) {
    near(value, expected, part * expected.abs());
}

/// The first moment after `from` at which a node's samples fulfil something, s after it.
fn first(
    plant: &mut Plant,
    node: Node,
    from: RunTime,
    interval_s: f64,
    count: usize,
    is: impl Fn(f64) -> bool,
) -> Option<f64> {
    let samples = plant.samples(node, from, interval_s, count);
    samples.iter().position(|v| is(*v)).map(|k| k as f64 * interval_s)
}

/// `V_b/R·e^(−t/RC)` back into the output, then the relay at hardly any difference, then a soft start. The battery holds the contacts from the
/// beginning; the charger's own sensor sees `V_b·(1 − e^(−t/RC))`.
#[test]
fn the_output_is_charged_from_the_battery_before_its_relay_closes() {
    let mut plant = Plant::charging(&[], 400.0, OFFERED);
    let start = RunTime::START;
    let flows_back = |a: f64| a < -1e-6;
    let begin_s = first(&mut plant, Node::DcCurrent, start, 1e-3, 12_000, flows_back).unwrap() - 1e-3;
    let begin = RunTime((begin_s * 1e9) as u64);
    let fine_s = begin_s + first(&mut plant, Node::DcCurrent, begin, 1e-6, 3000, flows_back).unwrap();
    let tau_s = 1000.0 * 30e-6;
    for after_s in [0.01, 0.03, 0.06] {
        let at = RunTime(((fine_s + after_s) * 1e9) as u64);
        near(plant.world.mean(DC_V, at, at), 400.0, 1e-6);
        // Own discharge takes a thousandth of the voltage away.
        near(
            plant.world.mean(Node::DcCurrent, at, at),
            -0.4 * f64::exp(-after_s / tau_s),
            6e-4,
        );
    }
    // At the relay 0.1 V are left by the time constant, and 0.44 V by what always discharges the output: over 0.2 Ω.
    let around = plant.samples(Node::DcCurrent, RunTime(((fine_s + 0.249) * 1e9) as u64), 1e-6, 3000);
    assert!(
        around.iter().all(|a| a.abs() < 2.8),
        "{:?}",
        around.iter().copied().fold(0.0, f64::min)
    );
    // 8 A/s at the input.
    let begun = fine_s + 0.25;
    let rms = |plant: &mut Plant, after_s: f64| {
        let at = |s: f64| RunTime(((begun + s) * 1e9) as u64);
        plant.world.rms(Node::InCurrent, at(after_s), at(after_s + 0.04))
    };
    near(rms(&mut plant, 1.0), 8.0 * 0.98 * 1.02, 0.25);
    near(rms(&mut plant, 2.0), 8.0 * 0.98 * 2.02, 0.25);
}

#[test]
fn a_precharge_resistor_that_is_open_or_shorted_shows() {
    let mut open = Plant::charging(&[("precharge_open", 1.0)], 400.0, OFFERED);
    assert!(open.truth().fault && open.says().dc_v < 1.0);
    near(open.at(DC_V), 400.0, 1e-6);
    let spike = |ohm: f64| {
        let mut plant = Plant::charging(&[("r_precharge", ohm)], 400.0, OFFERED);
        let at_s = first(&mut plant, Node::DcCurrent, RunTime::START, 1e-6, 4_000_000, |a| {
            a < -0.2
        })
        .unwrap();
        let from = RunTime(((at_s - 2e-6) * 1e9) as u64);
        plant
            .samples(Node::DcCurrent, from, 1e-7, 100)
            .into_iter()
            .fold(0.0, f64::min)
    };
    within(spike(1000.0), -0.4, 0.02);
    within(spike(0.5), -800.0, 0.1);
}

#[test]
fn the_current_is_gone_before_s2_opens_unless_its_ramp_is_missing() {
    for (ramp, gone) in [(250.0, true), (0.0, false)] {
        let mut plant = Plant::charging(&[("ramp_down", ramp)], 400.0, OFFERED);
        plant.act(Action::PilotSource(PilotSource::Steady));
        let mut at_opening = None;
        for _ in 0..150 {
            plant.wait(0.01);
            if !plant.truth().commanded {
                let from = plant.later(-0.02);
                at_opening = Some(plant.world.rms(Node::InCurrent, from, plant.now));
                break;
            }
        }
        let amps = at_opening.expect("S2 opens");
        assert_eq!(amps < 1.0, gone, "{amps}");
        plant.wait(1.0);
        assert!(plant.rms(Node::InCurrent) < 0.3);
    }
    // The same by command, and at once by the latch and by a lost pilot.
    let mut told = Plant::charging(&[], 400.0, OFFERED);
    told.act(Action::Command(Command {
        enabled: false,
        volts: 400.0,
        amps: 18.0,
    }));
    told.wait(0.4);
    assert!(told.truth().commanded && told.rms(Node::DcCurrent).abs() < 10.0);
    let from = told.later(-0.05);
    assert!(told.world.rms(Node::InCurrent, from, told.now) < 0.3);
    for stop in [Action::Proximity(Some(480.0)), Action::PilotSource(PilotSource::Off)] {
        let mut plant = Plant::charging(&[], 400.0, OFFERED);
        plant.act(stop);
        plant.wait(0.1);
        let from = plant.later(-0.04);
        assert!(plant.world.rms(Node::InCurrent, from, plant.now) < 0.3, "{stop:?}");
    }
}

#[test]
fn a_lower_duty_is_followed_in_time() {
    let after = |changes: &[(&str, f64)], wait_s: f64| {
        let mut plant = Plant::charging(changes, 400.0, 0.5);
        plant.act(Action::PilotSourceDuty(0.1));
        plant.wait(wait_s);
        plant.rms(Node::InCurrent)
    };
    assert!(after(&[], 2.0) <= 6.0);
    assert!(after(&[("t_response", 9.0)], 8.0) > 28.0);
    assert!(after(&[("t_response", 9.0)], 11.0) <= 6.0);
    assert!(after(&[("step_down_ignored", 1.0)], 20.0) > 28.0);
}

/// Behind resistor and inductance the first crest is nearly V̂/R; without the resistor it is what the choke lets through.
#[test]
fn inrush_is_what_resistor_and_angle_make_of_it() {
    let peak = |changes: &[(&str, f64)], angle: f64| {
        let mut plant = Plant::new(changes);
        plant.offer(OFFERED);
        plant.wait(4.0);
        plant.act(Action::SupplyAngle(angle));
        plant.act(Action::Supply { on: true });
        let from = plant.now;
        plant.wait(0.5);
        let samples = plant.samples(Node::InCurrent, from, 2e-6, 150_000);
        samples.into_iter().map(f64::abs).fold(0.0, f64::max)
    };
    let crest = core::f64::consts::SQRT_2 * 230.0;
    within(peak(&[], core::f64::consts::FRAC_PI_2), crest / 47.2, 0.02);
    let from_zero = peak(&[], 0.0);
    assert!(
        from_zero < crest / 47.2 && from_zero > 0.7 * crest / 47.2,
        "{from_zero}"
    );
    // A relay 5 ms after the supply: far above the 230 A of IEC 61851-1, 12.2 (restated).
    let early = peak(&[("t_bypass", 0.005)], 0.0);
    assert!(early > 230.0 && early < 600.0, "{early}");
}

#[test]
fn a_supply_that_goes_leaves_its_pins_dead_in_time() {
    for (angle, idle) in [(core::f64::consts::FRAC_PI_2, true), (0.7, true), (0.7, false)] {
        let mut plant = if idle {
            Plant::new(&[])
        } else {
            Plant::charging(&[], 400.0, OFFERED)
        };
        plant.act(Action::SupplyAngle(0.0));
        plant.act(Action::Supply { on: true });
        plant.wait(1.0 + 0.02 * angle / core::f64::consts::TAU);
        let before = plant.at(IN_V);
        plant.act(Action::Supply { on: false });
        plant.wait(0.001);
        let from = plant.now;
        if idle {
            within(plant.at(IN_V), before, 0.01);
        } else {
            near(plant.at(IN_V), 0.0, 1.0);
        }
        plant.wait(1.0);
        assert!(plant.at(IN_V).abs() < 30.0);
        if idle {
            // First the resistor of 1 MΩ beside the meter for 50 ms, then 68 kΩ beside them.
            let slow = 2.2e-6 / (1e-6 + 1e-7);
            let fast = 2.2e-6 / (1.0 / 68e3 + 1e-6 + 1e-7);
            let at = RunTime(from.0 + 199_000_000);
            within(
                plant.world.mean(IN_V, at, at),
                before * f64::exp(-0.05 / slow - 0.15 / fast),
                0.01,
            );
        }
    }
}

/// √(V² + L·I²/C) from where the protection stops it; 25 % higher it comes too late.
#[test]
fn a_load_dump_is_caught_by_the_over_voltage_stop() {
    for (ratio, allowed) in [(1.05, true), (1.3, false)] {
        let mut plant = Plant::charging(&[("ovp_ratio", ratio)], 400.0, OFFERED);
        let amps = plant.mean(Node::DcCurrent);
        plant.act(Action::Load { on: false });
        let from = plant.now;
        plant.wait(0.02);
        let peak = plant.samples(DC_V, from, 1e-6, 5000).into_iter().fold(0.0, f64::max);
        let stop = 420.0 * ratio;
        // On the way from 420 V the control has begun to bring the current down.
        let left = amps - (stop - 420.0) * 30e-6 / 1.9894e-3;
        within(peak, (stop * stop + 100e-6 * left * left / 30e-6).sqrt(), 0.002);
        assert_eq!(peak <= 1.1 * 420.0, allowed, "{peak}");
        plant.wait(1.0);
        assert!(!plant.says().enabled && plant.says().fault && plant.rms(Node::InCurrent) < 0.3);
    }
}

/// t = R·C·ln(V₀/60), active and passive, of the output and of the bulk capacitor behind it.
#[test]
fn a_stop_discharges_the_output() {
    let fall = |changes: &[(&str, f64)], limit_s: f64| {
        let mut plant = Plant::charging(changes, 400.0, OFFERED);
        plant.act(Action::PilotSource(PilotSource::Steady));
        plant.wait(0.4);
        plant.act(Action::Load { on: false });
        let (from, first_v) = (plant.now, plant.at(DC_V));
        plant.wait(limit_s);
        // As long as it takes from 400 V.
        first(&mut plant, DC_V, from, 1e-3, (limit_s * 1e3) as usize, |v| v < 60.0)
            .map(|t| t * (400.0f64 / 60.0).ln() / (first_v / 60.0).ln())
    };
    let beside_meter = |ohm: f64| 1.0 / (1.0 / ohm + 1e-7);
    let active = beside_meter(1.0 / (1.0 / 20e3 + 1e-6));
    within(fall(&[], 5.0).unwrap(), active * 30e-6 * (400.0f64 / 60.0).ln(), 0.01);
    within(
        fall(&[("r_out_active", 1e9)], 100.0).unwrap(),
        beside_meter(1e6 / 1.001) * 30e-6 * (400.0f64 / 60.0).ln(),
        0.01,
    );
    assert_eq!(fall(&[("bleeder_open", 1.0)], 100.0), None);
}

/// `t = C·(V² − V_min²)/2P`.
#[test]
fn it_holds_up_as_long_as_its_bulk_capacitor_can() {
    let mut plant = Plant::charging(&[], 400.0, OFFERED);
    let out_w = plant.mean(DC_V) * plant.mean(Node::DcCurrent);
    plant.act(Action::SupplyDip {
        ratio: 0.0,
        for_s: 0.1,
        angle_rad: 0.0,
    });
    let from = plant.now;
    plant.wait(0.08);
    let dip_s = first(&mut plant, IN_V, from, 1e-5, 6000, |v| v == 0.0).unwrap();
    let stop_s = first(&mut plant, Node::DcCurrent, from, 1e-5, 8000, |a| a < 5.0).unwrap();
    let lost_w = 30.0 + 0.022 * out_w + 3.6e-6 * out_w * out_w * (0.5 + 0.5 * (420.0f64 / 400.0).powi(2));
    let expected = 1.2e-3 * (400.0f64.powi(2) - 300.0f64.powi(2)) / 2.0 / (out_w + lost_w);
    within(stop_s - dip_s, expected, 0.015);
}

#[test]
fn a_cycle_is_ridden_through_and_a_longer_dip_is_one_stop_and_one_start() {
    let dipped = |changes: &[(&str, f64)], ratio: f64, for_s: f64, angle_rad: f64| {
        let mut plant = Plant::charging(changes, 400.0, OFFERED);
        plant.act(Action::SupplyDip {
            ratio,
            for_s,
            angle_rad,
        });
        let (mut starts, mut was, mut peak) = (0, true, 0.0_f64);
        for _ in 0..3000 {
            plant.wait(0.01);
            let stage = plant.says().enabled;
            starts += u32::from(stage && !was);
            was = stage;
            let from = plant.later(-0.01);
            peak = plant
                .samples(Node::InCurrent, from, 1e-4, 100)
                .into_iter()
                .map(f64::abs)
                .fold(peak, f64::max);
        }
        (starts, plant.rms(Node::InCurrent), peak)
    };
    for angle in [0.0, core::f64::consts::FRAC_PI_2] {
        let (_, amps, peak) = dipped(&[], 0.0, 0.02, angle);
        assert!(amps > 30.0 && peak < 100.0, "{amps} {peak}");
        let (starts, amps, peak) = dipped(&[], 0.0, 5.0, angle);
        assert!(starts == 1 && amps > 30.0 && peak < 60.0, "{starts} {amps} {peak}");
    }
    let (starts, amps, _) = dipped(&[], 0.7, 0.5, 0.0);
    assert!(starts == 0 && amps > 30.0, "{starts} {amps}");
    // Dropping out at 200 V it stops where the others go on; a latched one never comes back.
    let (starts, amps, _) = dipped(&[("v_drop_out", 200.0)], 0.7, 0.5, 0.0);
    assert!(starts == 1 && amps > 30.0, "{starts} {amps}");
    let (starts, amps, _) = dipped(&[("latched_after_dip", 1.0)], 0.0, 5.0, 0.0);
    assert!(starts == 0 && amps < 1.0, "{starts} {amps}");
}

#[test]
fn a_falling_supply_is_left_once_and_a_high_one_is_refused() {
    let mut plant = Plant::charging(&[], 400.0, OFFERED);
    let mut stops = 0;
    let mut was = true;
    for k in 0..400 {
        plant.act(Action::SupplyVoltage(
            230.0 * (1.0 - f64::from(if k < 200 { k } else { 399 - k }) / 200.0),
        ));
        for _ in 0..4 {
            plant.wait(0.05);
            let now = plant.says().enabled;
            stops += u32::from(was && !now);
            was = now;
        }
        let from = plant.later(-0.04);
        assert!(plant.world.rms(Node::InCurrent, from, plant.now) <= 32.0);
    }
    assert_eq!(stops, 1);
    plant.wait(15.0);
    assert!(plant.says().enabled);
    plant.act(Action::SupplyVoltage(300.0));
    plant.wait(1.0);
    assert!(!plant.says().enabled);
}

#[test]
fn it_gives_nothing_into_a_wrong_sink() {
    for battery_v in [0.0, 100.0] {
        let mut plant = Plant::charging(&[], battery_v, OFFERED);
        assert!(
            plant.says().dc_v < 1.0 && plant.mean(Node::DcCurrent).abs() < 1e-3,
            "{battery_v}"
        );
        near(plant.at(DC_V), battery_v, 1e-6);
        plant.act(Action::SinkVoltage(400.0));
        plant.wait(5.0);
        assert!(plant.mean(Node::DcCurrent) > 15.0);
    }
    let mut reversed = Plant::charging(&[], 400.0, OFFERED);
    reversed.act(Action::SinkReversed { on: true });
    reversed.wait(0.3);
    // What was inside goes out by 10 kΩ beside the open relay, and ends.
    assert!(reversed.says().fault && (0.0..0.04).contains(&reversed.mean(Node::DcCurrent)));
    reversed.wait(4.0);
    assert!(reversed.mean(Node::DcCurrent).abs() < 1e-6);
    // A sink that takes more than it may have pulls it down.
    let mut pulled = Plant::charging(&[], 400.0, OFFERED);
    pulled.act(Action::LoadCurrent(60.0));
    pulled.act(Action::SinkVoltage(0.0));
    pulled.wait(5.0);
    assert!(pulled.says().fault && pulled.at(DC_V) < 1.0);
    let mut sunk = Plant::charging(&[], 400.0, OFFERED);
    sunk.act(Action::LoadCurrent(10.0));
    sunk.act(Action::SinkVoltage(0.0));
    sunk.wait(1.0);
    near(sunk.at(DC_V), 420.0, 5.0);
    near(sunk.mean(Node::DcCurrent), 10.0, 0.01);
}

/// Nothing is offered, so the output relay is open: the contacts show what the sink holds, in both directions, and nothing of it gets inside.
/// Each contact of an output that floats stands at half of it.
#[test]
fn the_contacts_of_an_idle_charger_show_what_the_sink_holds() {
    let mut plant = Plant::new(&[]);
    plant.act(Action::LoadCurrent(20.0));
    plant.act(Action::SinkVoltage(400.0));
    let contacts = |plant: &mut Plant| {
        let truth = plant.truth();
        (
            plant.at(DC_V),
            truth.conductors_v["dc.plus"],
            truth.conductors_v["dc.minus"],
        )
    };
    assert_eq!(contacts(&mut plant), (0.0, 0.0, 0.0), "set, but off");
    for (reversed, volts) in [(false, 400.0), (true, -10.0)] {
        plant.act(Action::SinkReversed { on: reversed });
        plant.act(Action::Load { on: true });
        plant.wait(1.0);
        let (across, plus, minus) = contacts(&mut plant);
        near(across, volts, 1e-9);
        near(plus, volts.abs() / 2.0, 1e-6);
        near(minus, volts.abs() / 2.0, 1e-6);
        near(plant.says().dc_v, 0.0, 1e-9);
        let what = DeadPath::Dc(DcPair::PlusMinus);
        assert_eq!(plant.world.resistance(what, plant.now), None, "{volts} V is not dead");
        plant.act(Action::Load { on: false });
        plant.wait(1.0);
        assert_eq!(contacts(&mut plant), (0.0, 0.0, 0.0));
    }
}

/// After a stop the contacts show, without a sink, what the output's capacitance keeps; burdens of 66.7 kΩ in all divide it with the 10 kΩ
/// beside the relay. A sink that takes a current pulls the contacts down, and empties what is inside by R·C.
#[test]
fn what_an_open_output_keeps_is_seen_at_its_contacts() {
    let mut plant = Plant::charging(&[("bleeder_open", 1.0)], 400.0, OFFERED);
    plant.act(Action::PilotSource(PilotSource::Steady));
    plant.wait(3.0);
    plant.act(Action::SinkVoltage(0.0));
    plant.act(Action::Load { on: false });
    let kept = plant.says().dc_v;
    assert!(kept > 390.0, "{kept}");
    near(plant.at(DC_V), kept, 1.0);
    plant.act(Action::Burden { on: true });
    let share = (200e3 / 3.0) / (200e3 / 3.0 + 10e3);
    near(plant.at(DC_V), share * kept, 1.0);
    plant.act(Action::Burden { on: false });
    plant.act(Action::Load { on: true });
    let begun = plant.says().dc_v;
    plant.wait(0.3);
    near(plant.at(DC_V), 0.0, 1e-9);
    let tau_s = 30e-6 / (1e-4 + 1e-7);
    // It says what it saw over the last period of 20 ms.
    within(plant.says().dc_v, begun * f64::exp(-0.3 / tau_s), 0.05);
}

#[test]
fn an_open_interlock_loop_stops_it_in_time() {
    for (bridged, stops) in [(0.0, true), (1.0, false)] {
        let mut plant = Plant::charging(&[("interlock_bridged", bridged)], 400.0, OFFERED);
        plant.act(Action::InterlockLoop { closed: false });
        plant.wait(0.1);
        assert_eq!(plant.at(Node::DcCurrent) < 1.0, stops);
        plant.wait(5.0);
        assert_eq!(plant.says().dc_v < 60.0, stops);
        near(plant.at(DC_V), 400.0, 1.0);
    }
}

#[test]
fn guard_and_isolator_take_the_supply_away() {
    for action in [
        Action::Enclosure { closed: false },
        Action::Stop { pressed: true },
        Action::Isolator { locked: true },
    ] {
        let mut plant = Plant::charging(&[], 400.0, OFFERED);
        plant.act(action);
        plant.wait(1.5);
        assert!(
            plant.at(IN_V).abs() < 30.0 && plant.rms(Node::InCurrent) < 0.01,
            "{action:?}"
        );
        // What the sink holds is no part of the supply.
        plant.act(Action::Load { on: false });
        let truth = plant.truth();
        assert!(
            truth.conductors_v["in.L"] < 30.0 && truth.conductors_v["dc.plus"] < 60.0,
            "{truth:?}"
        );
    }
    let mut fed_back = Plant::charging(&[("back_feed", 60.0), ("t_ride", 10.0)], 400.0, OFFERED);
    fed_back.act(Action::Isolator { locked: true });
    fed_back.wait(1.5);
    near(fed_back.rms(IN_V), 60.0, 0.5);
    assert!((fed_back.truth().conductors_v["in.L"] - 30.0).abs() < 0.5);
}
