//! Each flaw of an instrument shows as what it is; without any, the bench is the healthy one.

use super::desk::Desk;
use pilotage_virtual::instruments::flaws::UnknownFlaw;
use pilotage_virtual::instruments::{bench, bench_with};
use pilotage_virtual::physics::{Action, Setup, World};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// The reference on, mains at the input.
fn on(flaws: &[(&str, f64)]) -> Desk {
    let mut desk = Desk::with(1, flaws);
    desk.tell("supply", "VOLT 230;OUTP ON");
    desk.tell("reference", "SOUR:FUNC DC");
    desk.wait(Duration::from_secs(4));
    desk
}

#[test]
fn an_offset_shows_at_zero_and_at_the_reference() {
    let mut desk = on(&[("meter_offset", 0.04)]);
    let mut healthy = on(&[]);
    for line in [
        "MEAS:VOLT:DC? 100,(@141)",
        "MEAS:VOLT:DC? 1,(@113)",
        "MEAS:VOLT:AC? 750,(@111)",
    ] {
        let difference = desk.number("meter", line) - healthy.number("meter", line);
        assert!((difference - 0.04).abs() < 0.002, "{line}: {difference}");
        let other = desk.number("drop_meter", line) - healthy.number("drop_meter", line);
        assert_eq!(other, 0.0, "the other meter is as it was");
    }
}

#[test]
fn a_meter_that_repeats_itself_never_moves() {
    let mut desk = on(&[("meter_repeats", 1.0)]);
    let first = desk.ask("meter", "MEAS:VOLT:DC? 100,(@141)");
    assert_eq!(desk.ask("meter", "MEAS:VOLT:DC? 100,(@141)"), first);
    desk.tell("reference", "SOUR:FUNC OFF");
    desk.wait(Duration::from_secs(1));
    assert_eq!(desk.ask("meter", "MEAS:VOLT:DC? 100,(@141)"), first);
}

#[test]
fn beyond_its_range_a_flawed_meter_shows_a_number_or_takes_another_range() {
    let small = |flaws: &[(&str, f64)]| on(flaws).number("meter", "MEAS:VOLT:DC? 10,(@141)");
    assert!(small(&[]) > 1e37, "50 V on a range of 10 V");
    assert_eq!(small(&[("meter_overload", 12.0)]), 12.0);
    assert!((small(&[("meter_own_range", 1.0)]) - 50.0).abs() < 0.1);
}

#[test]
fn a_slow_filter_leaves_a_tail_of_what_was() {
    let tail = |flaws: &[(&str, f64)]| {
        let mut desk = on(flaws);
        desk.number("meter", "MEAS:VOLT:AC? (@111)");
        desk.tell("supply", "OUTP OFF");
        desk.number("meter", "MEAS:VOLT:AC? 750,(@111)")
    };
    assert!(tail(&[]) < 1.0, "{}", tail(&[]));
    assert!(tail(&[("meter_ac_tau", 0.3)]) > 50.0);
}

#[test]
fn a_wrong_probe_and_captures_apart_show_in_the_samples() {
    let peak_and_zero = |flaws: &[(&str, f64)]| {
        let mut desk = on(flaws);
        desk.tell("pilot_box", "ROUT:PIL B");
        desk.wait(Duration::from_secs(4));
        desk.tell("scope", "ACQ:SRAT 10000;POIN 20000;:INIT");
        desk.tell("pilot_box", "ROUT:PIL C");
        desk.wait(Duration::from_secs(2));
        let block = desk.bytes("scope", b"TRAC:DATA? (@2)");
        let codes: Vec<i16> = block[7..block.len() - 1]
            .chunks_exact(2)
            .map(|p| i16::from_le_bytes([p[0], p[1]]))
            .collect();
        let peak = codes.iter().map(|code| code.unsigned_abs()).max().unwrap();
        (
            peak,
            codes.iter().position(|code| code.unsigned_abs() > peak / 2).unwrap(),
        )
    };
    let (peak, closes) = peak_and_zero(&[]);
    assert!((1250..1420).contains(&peak), "325 V of 500 V in 2048 steps: {peak}");
    assert!((120..160).contains(&peak_and_zero(&[("scope_probe", 0.1)]).0));
    let (_, apart) = peak_and_zero(&[("scope_skew", 0.2)]);
    // Zero crossings may shift the half peak by some milliseconds.
    assert!((1900..2100).contains(&(apart - closes)), "{closes} {apart}");
}

#[test]
fn a_wrong_probe_at_the_pilot_and_a_drift_show_in_the_levels() {
    let high = |flaws: &[(&str, f64)], wait_s: u64| {
        let mut desk = on(flaws);
        desk.wait(Duration::from_secs(wait_s));
        desk.number("scope", "MEAS:HIGH? (@1)")
    };
    let healthy = high(&[], 0);
    assert!((high(&[("scope_probe_pilot", 0.1)], 0) / healthy - 0.1).abs() < 0.005);
    let drifts = [("scope_drift", -0.2), ("drift_after", 60.0)];
    assert!((high(&drifts, 0) / healthy - 1.0).abs() < 0.005, "not yet");
    assert!((high(&drifts, 60) / healthy - 0.8).abs() < 0.005);
}

#[test]
fn a_load_that_folds_back_draws_no_more() {
    let draws = |flaws: &[(&str, f64)], set_a: f64| {
        let mut desk = on(flaws);
        desk.tell("pilot_box", "ROUT:PIL B");
        desk.wait(Duration::from_secs(4));
        desk.tell("pilot_box", "ROUT:PIL C");
        desk.wait(Duration::from_secs(4));
        desk.tell("load", &format!("CURR {set_a};:INP ON"));
        desk.wait(Duration::from_secs(1));
        desk.number("load", "MEAS:CURR?")
    };
    assert!((draws(&[], 32.0) - 32.0).abs() < 0.2);
    assert!((draws(&[("load_fold", 20.0)], 32.0) - 20.0).abs() < 0.2);
    assert!((draws(&[("load_fold", 20.0)], 16.0) - 16.0).abs() < 0.2);
}

#[test]
fn a_stuck_guard_says_closed() {
    let mut desk = on(&[("guard_stuck", 1.0)]);
    desk.world
        .lock()
        .unwrap()
        .act(desk.now, Action::Enclosure { closed: false });
    desk.wait(Duration::from_secs(1));
    assert_eq!(desk.ask("guard", "DIG:DATA? 1;DATA? 3"), "1;0");
}

#[test]
fn an_exchanged_meter_has_another_serial_number() {
    assert_eq!(
        on(&[("meter_exchanged", 1.0)]).ask("meter", "*IDN?"),
        "PILOTAGE VIRTUAL,SCAN-DMM,M-0907,1.0"
    );
}

#[test]
fn unknown_flaws_and_values_are_refused() {
    let world = Arc::new(Mutex::new(World::new(&Setup::default()).unwrap()));
    let refused = |name: &str, value| bench_with(&world, 1, &[(name.to_owned(), value)].into()).err();
    assert!(matches!(refused("meter_ofset", 1.0), Some(UnknownFlaw::Name { name, .. }) if name == "meter_ofset"));
    assert!(matches!(refused("meter_ac_tau", -1.0), Some(UnknownFlaw::Value { .. })));
    assert!(matches!(
        refused("meter_offset", f64::NAN),
        Some(UnknownFlaw::Value { .. })
    ));
    assert_eq!(bench(&world, 1).len(), 9);
}
