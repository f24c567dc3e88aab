//! What the meter makes of what it is given: averaging over line cycles, the shape of AC, time and temperature.

use super::desk::Desk;
use super::files::{driver, quantity};
use pilotage_core::RunTime;
use pilotage_virtual::physics::{Node, Pair};
use std::f64::consts::{PI, SQRT_2};
use std::time::Duration;

/// Mains at the input, 230 V of a frequency.
fn live(hertz: f64) -> Desk {
    let mut desk = Desk::of(1, &[], &[("supply_h3", 0.0), ("supply_h5", 0.0), ("supply_h7", 0.0)]);
    desk.tell("supply", &format!("VOLT 230;FREQ {hertz};OUTP ON"));
    desk.wait(Duration::from_secs(4));
    desk
}

/// The largest DC reading of the live input over many moments of its period.
fn largest_dc(desk: &mut Desk) -> f64 {
    (0..60)
        .map(|k| {
            desk.wait(Duration::from_micros(700 + 37 * k));
            desk.number("meter", "MEAS:VOLT:DC? 1000,(@111)").abs()
        })
        .fold(0.0, f64::max)
}

#[test]
fn a_mean_over_whole_periods_rejects_the_mains_and_another_leaves_its_sinc() {
    // What the driver file allows at 0 V of DC is 50 mV; half a step and 0.01 % frequency error of the source besides.
    assert!(largest_dc(&mut live(50.0)) < 0.1);
    // |sin(π·f·T)/(π·f·T)| of the peak, T = 20 ms.
    for hertz in [60.0, 53.0, 45.0] {
        let x = PI * hertz * 0.02;
        let expected = 230.0 * SQRT_2 * (x.sin() / x).abs();
        let found = largest_dc(&mut live(hertz));
        assert!(
            (found / expected - 1.0).abs() < 0.03,
            "{hertz} Hz: {found} V, {expected} V by the sinc"
        );
    }
    // Ten cycles of 50 Hz are twelve of 60 Hz.
    let mut desk = live(60.0);
    desk.tell("meter", "SENS:VOLT:DC:NPLC 10");
    assert!(largest_dc(&mut desk) < 0.1);
}

#[test]
fn noise_falls_with_the_root_of_the_line_cycles() {
    let mut desk = Desk::new(1);
    desk.tell("reference", "SOUR:FUNC DC");
    desk.wait(Duration::from_secs(1));
    let mut scatter = |cycles: f64| {
        desk.tell("meter", &format!("SENSe:VOLTage:DC:NPLCycles {cycles}"));
        let shown: Vec<f64> = (0..400)
            .map(|_| desk.number("meter", "MEAS:VOLT:DC? 1000,(@141)"))
            .collect();
        let mean = shown.iter().sum::<f64>() / 400.0;
        (shown.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / 400.0).sqrt()
    };
    let (one, quarter, four) = (scatter(1.0), scatter(0.25), scatter(4.0));
    assert!((quarter / one - 2.0).abs() < 0.2, "{quarter} {one}");
    assert!((one / four - 2.0).abs() < 0.2, "{one} {four}");
}

#[test]
fn line_cycles_are_time_and_go_back_to_one() {
    let mut desk = Desk::new(1);
    let takes = |desk: &mut Desk| {
        desk.number("meter", "MEAS:VOLT:DC? (@131)");
        let began = desk.now;
        desk.number("meter", "MEAS:VOLT:DC? (@131)");
        desk.now.since(began)
    };
    assert_eq!(takes(&mut desk), Duration::from_millis(20));
    desk.tell("meter", "SENS:VOLT:DC:NPLC 5");
    assert_eq!(takes(&mut desk), Duration::from_millis(100));
    assert!((desk.number("meter", "SENS:VOLT:DC:NPLC?") - 5.0).abs() < 1e-12);
    desk.wrong("meter", b"SENS:VOLT:DC:NPLC 11", -222);
    desk.tell("meter", "*RST");
    assert_eq!(takes(&mut desk), Duration::from_millis(20));
}

/// AC of a pulse of 10 % duty, and its true rms without DC and crest factor from fine samples.
fn peaked(flaws: &[(&str, f64)]) -> (f64, f64, f64) {
    let mut desk = Desk::of(1, flaws, &[("rated_set", 6.0), ("jitter", 0.0), ("v_neg", -0.5)]);
    desk.tell("supply", "VOLT 230;OUTP ON");
    desk.wait(Duration::from_secs(4));
    desk.tell("pilot_box", "ROUT:PIL B");
    desk.wait(Duration::from_secs(4));
    let shown = desk.number("meter", "MEAS:VOLT:AC? 10,(@131)");
    let from = RunTime(desk.now.0 - 200_000_000);
    let mut values = Vec::new();
    desk.world
        .lock()
        .unwrap()
        .samples(Node::Pilot, from, 1e-6, 200_000, &mut values);
    let mean = values.iter().sum::<f64>() / 200_000.0;
    let rms = (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / 200_000.0).sqrt();
    let peak = values.iter().map(|v| (v - mean).abs()).fold(0.0, f64::max);
    (shown, rms, peak / rms)
}

#[test]
fn a_peaked_voltage_is_read_a_little_low_and_by_rectified_mean_a_third_too_low() {
    let (shown, rms, crest) = peaked(&[]);
    // √((1 − D)/D) = 3 at 10 %.
    assert!((crest - 3.0).abs() < 0.02, "{crest}");
    let error = shown / rms - 1.0;
    assert!(error < -0.5e-3 && error > -3.5e-3, "{error}");
    let (shown, rms, _) = peaked(&[("meter_average", 1.0)]);
    assert!((shown / rms - 0.666).abs() < 0.01, "{}", shown / rms);
}

#[test]
fn a_rectified_mean_agrees_for_a_sine_only() {
    let shown = |average: f64, third: f64| {
        let shape = [("supply_h3", third), ("supply_h5", 0.0), ("supply_h7", 0.0)];
        let mut desk = Desk::of(1, &[("meter_average", average)], &shape);
        desk.tell("supply", "VOLT 230;OUTP ON");
        desk.wait(Duration::from_secs(4));
        desk.number("meter", "MEAS:VOLT:AC? 750,(@111)")
    };
    assert!((shown(1.0, 0.0) / shown(0.0, 0.0) - 1.0).abs() < 1e-3);
    // Mean of the rectified sum sin x + 0.2·sin 3x is (2/π)·(1 + 0.2/3); its rms √((1 + 0.04)/2).
    let share = (1.0 + 0.2 / 3.0) / 1.04_f64.sqrt();
    let found = shown(1.0, 0.2) / shown(0.0, 0.2);
    assert!((found / share - 1.0).abs() < 1.5e-3, "{found} {share}");
}

/// Share of what the driver file states that the error at the DC reference takes, at most over 100 meters.
fn worst(flaws: &[(&str, f64)], room: f64) -> f64 {
    let stated = &driver("bench_meter")["functions"]["dc_low_voltage"]["measure"]["accuracy"];
    let limit = quantity(&stated["of_reading"]) * 50.0
        + quantity(&stated["of_range"]) * quantity(&stated["range"])
        + quantity(&stated["resolution"]) / 2.0;
    (0..100)
        .map(|seed| {
            let mut desk = Desk::of(seed, flaws, &[("ambient", room)]);
            desk.tell("reference", "SOUR:FUNC DC");
            desk.wait(Duration::from_secs(1));
            (desk.number("meter", "MEAS:VOLT:DC? 100,(@141)") - 50.0).abs() / limit
        })
        .fold(0.0, f64::max)
}

#[test]
fn a_meter_keeps_its_statement_for_a_year_in_its_room_and_not_longer_or_elsewhere() {
    for (years, celsius) in [(0.0, 23.0), (0.5, 18.5), (1.0, 28.0)] {
        let share = worst(&[("meter_age", years)], celsius + 273.15);
        assert!((0.4..=1.0).contains(&share), "{years} years, {celsius} °C: {share}");
    }
    assert!(worst(&[("meter_age", 6.0)], 296.15) > 1.2);
    assert!(worst(&[], 316.15) > 1.2);
}

#[test]
fn the_ac_path_passes_the_harmonics_of_the_mains() {
    let mut desk = Desk::of(1, &[], &[("supply_h3", 0.1), ("supply_h5", 0.1), ("supply_h7", 0.1)]);
    desk.tell("supply", "VOLT 230;OUTP ON");
    desk.wait(Duration::from_secs(4));
    let shown = desk.number("meter", "MEAS:VOLT:AC? 750,(@111)");
    let (from, to) = (RunTime(desk.now.0 - 200_000_000), desk.now);
    let truth = desk.world.lock().unwrap().rms(Node::In(Pair::LN), from, to);
    // 0.06 % and 0.03 % of 750 V.
    assert!((shown - truth).abs() < 0.06e-2 * truth + 0.225, "{shown} {truth}");
}
