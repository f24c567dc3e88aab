//! Events in captures whose moments are known.
#![allow(clippy::unwrap_used, clippy::float_cmp)]

use pilotage_core::signal::{Channel, Event, Lack, Part, Timing, Which, crossings, hidden_by_crossing_s, levels};
use pilotage_core::uncertainty::{COVERAGE, rectangular};
use proptest::prelude::*;
use std::f64::consts::PI;

fn near(found: f64, wanted: f64, absolute: f64) {
    assert!(
        (found - wanted).abs() <= absolute,
        "found {found}, wanted {wanted} ± {absolute}"
    );
}

fn channel(samples: &[f64], interval_s: f64) -> Channel {
    let timing = Timing {
        interval_s,
        pulse_period_s: 1e-3,
        mains_hz: 50.0,
    };
    Channel::new(samples.to_vec(), timing)
}

fn holds(event: &Event, truth: f64, widest: f64) {
    assert!(
        event.earliest_s <= truth && truth <= event.latest_s,
        "{truth} is not in {event:?}"
    );
    assert!(
        event.latest_s - event.earliest_s <= widest,
        "{event:?} is wider than {widest}"
    );
}

/// A pilot whose high state changes at a moment: 12 µs edges, 53.3 % duty, low −12 V.
fn pilot(interval: f64, length: f64, high: impl Fn(f64) -> f64) -> Vec<f64> {
    let at = |time: f64| {
        let phase = time.rem_euclid(1e-3);
        let top = high(time);
        if phase < 6e-6 {
            -12.0 + (top + 12.0) * phase / 6e-6
        } else if phase < 533e-6 {
            top
        } else if phase < 545e-6 {
            top - (top + 12.0) * (phase - 533e-6) / 12e-6
        } else {
            -12.0
        }
    };
    (0..(length / interval) as usize)
        .map(|index| at(index as f64 * interval))
        .collect()
}

fn mains(interval: f64, length: f64, volts: f64, on: impl Fn(f64) -> bool) -> Vec<f64> {
    let at = |time: f64| {
        if on(time) {
            volts * 2f64.sqrt() * (2.0 * PI * 50.0 * time).sin()
        } else {
            0.0
        }
    };
    (0..(length / interval) as usize)
        .map(|index| at(index as f64 * interval))
        .collect()
}

#[test]
fn levels_of_a_sine() {
    let samples = mains(50e-6, 1.0, 230.0, |_| true);
    let found = levels(&samples).unwrap();
    near(found.rms, 230.0, 1e-6);
    near(found.mean, 0.0, 1e-9);
    near(found.span(), 2.0 * 230.0 * 2f64.sqrt(), 1e-6);
    assert_eq!(levels(&[]), Err(Lack::TooFewSamples { have: 0, need: 1 }));
    assert_eq!(levels(&[f64::NAN]), Err(Lack::NotANumber));
}

#[test]
fn crossings_of_samples_are_interpolated() {
    let ramp: Vec<f64> = (0..11).map(f64::from).collect();
    assert_eq!(crossings(&ramp, 3.25, true, 0.0), [3.25]);
    assert_eq!(crossings(&ramp, 3.25, false, 0.0), Vec::<f64>::new());
    let event = channel(&ramp, 0.1)
        .event(Part::Samples, 3.25, true, Which::First, 0.0)
        .unwrap();
    near(event.at_s, 0.325, 1e-12);
    near(event.earliest_s, 0.3, 1e-12);
    near(event.latest_s, 0.4, 1e-12);
    near(event.standard_s(), 0.1 / 12f64.sqrt(), 1e-12);
    let down = [5.0, 3.0, 1.0];
    assert_eq!(crossings(&down, 2.0, false, 0.0), [1.5]);
    let dither = [0.0, 1.0, 0.9, 1.0, 0.9, 1.0, 0.0, 1.0];
    assert_eq!(crossings(&dither, 0.95, true, 0.0).len(), 4);
    assert_eq!(crossings(&dither, 0.95, true, 0.2).len(), 2);
}

#[test]
fn first_last_and_numbered_events() {
    let samples = mains(50e-6, 0.1, 230.0, |_| true);
    let channel = channel(&samples, 50e-6);
    let event = |which, after| channel.event(Part::Samples, 0.0, false, which, after);
    near(event(Which::First, 0.0).unwrap().at_s, 0.01, 1e-9);
    near(event(Which::Number(2), 0.0).unwrap().at_s, 0.03, 1e-9);
    near(event(Which::Last, 0.0).unwrap().at_s, 0.09, 1e-9);
    near(event(Which::First, 0.04).unwrap().at_s, 0.05, 1e-9);
    assert!(matches!(
        event(Which::Number(9), 0.0),
        Err(Lack::TooFewEvents { have: 5, wanted: 9, .. })
    ));
    let never = channel
        .event(Part::Samples, 500.0, true, Which::First, 0.0)
        .unwrap_err();
    assert!(
        never
            .to_string()
            .starts_with("the signal never rises through 500.000; it lies between -325"),
        "{never}"
    );
}

/// State B to C (9 V to 6 V): seen at once while the pulse is high, else at the next pulse.
#[test]
fn the_high_level_of_a_pilot() {
    for interval in [1e-6, 50e-6] {
        for change in [0.040_200, 0.040_540, 0.040_700, 0.040_990, 0.041_003] {
            let samples = pilot(interval, 0.1, |time| if time < change { 9.0 } else { 6.0 });
            let events = channel(&samples, interval).events(Part::High, 7.0, false).unwrap();
            assert_eq!(events.len(), 1, "change at {change}");
            // While the pulse is low (0.467 ms and an edge) nothing can be seen.
            holds(&events[0], change, 0.49e-3 + 20e-6 + 3.0 * interval);
            let back = pilot(interval, 0.1, |time| if time < change { 6.0 } else { 9.0 });
            let events = channel(&back, interval).events(Part::High, 7.0, true).unwrap();
            assert_eq!(events.len(), 1, "change at {change}");
            holds(&events[0], change, 0.49e-3 + 20e-6 + 3.0 * interval);
        }
    }
}

#[test]
fn the_low_level_of_a_pilot() {
    // Pulses begin at 30 ms: until then +9 V steady.
    let samples: Vec<f64> = pilot(1e-6, 0.06, |_| 9.0)
        .into_iter()
        .enumerate()
        .map(|(index, volts)| if index < 30_000 { 9.0 } else { volts })
        .collect();
    let events = channel(&samples, 1e-6).events(Part::Low, -10.0, false).unwrap();
    assert_eq!(events.len(), 1);
    near(events[0].at_s, 0.030_545, 0.6e-3);
    let lowest = channel(&samples, 1e-6).values(Part::Low).unwrap();
    assert_eq!(lowest.first(), Some(&9.0));
    assert_eq!(lowest.last(), Some(&-12.0));
    let never = channel(&samples, 1e-6).event(Part::High, 7.0, false, Which::First, 0.0);
    assert!(matches!(never, Err(Lack::NoEvent { way: "falls", .. })));
}

#[test]
fn the_envelope_of_the_mains() {
    for moment in [0.100, 0.1025, 0.105, 0.1071] {
        let closing = mains(50e-6, 0.4, 230.0, |time| time >= moment);
        let events = channel(&closing, 50e-6)
            .events(Part::Envelope, 0.35 * 230.0, true)
            .unwrap();
        assert_eq!(events.len(), 1);
        holds(&events[0], moment, 10.2e-3);
        let opening = mains(50e-6, 0.4, 230.0, |time| time < moment);
        let events = channel(&opening, 50e-6).events(Part::Envelope, 20.0, false).unwrap();
        assert_eq!(events.len(), 1);
        holds(&events[0], moment, 10.2e-3);
    }
    let steady = mains(50e-6, 0.2, 230.0, |_| true);
    let envelope = channel(&steady, 50e-6).values(Part::Envelope).unwrap();
    assert!(envelope.iter().all(|rms| (rms - 230.0).abs() < 1e-6));
    assert!(matches!(
        channel(&steady, 5e-3).events(Part::Envelope, 1.0, true),
        Err(Lack::TooFewSamples { .. })
    ));
}

proptest! {
    #[test]
    fn nothing_panics(samples in proptest::collection::vec(any::<f64>(), 0..300), interval in any::<f64>(),
        level in any::<f64>(), rises in any::<bool>()) {
        let channel = channel(&samples, interval);
        for part in [Part::Samples, Part::High, Part::Low, Part::Envelope, Part::Contact, Part::Duty] {
            let _ = channel.event(part, level, rises, Which::Last, 0.0);
        }
    }

    #[test]
    fn a_change_of_the_high_level_lies_in_its_bounds(change in 0.010_f64..0.090, old in 3.0_f64..6.4, new in 7.6_f64..12.0,
        interval in 1e-6_f64..50e-6) {
        let rising = pilot(interval, 0.1, |time| if time < change { old } else { new });
        let events = channel(&rising, interval).events(Part::High, 7.0, true).unwrap();
        prop_assert_eq!(events.len(), 1);
        prop_assert!(events[0].earliest_s <= change && change <= events[0].latest_s, "{:?}", events[0]);
        let falling = pilot(interval, 0.1, |time| if time < change { new } else { old });
        let events = channel(&falling, interval).events(Part::High, 7.0, false).unwrap();
        prop_assert_eq!(events.len(), 1);
        prop_assert!(events[0].earliest_s <= change && change <= events[0].latest_s, "{:?}", events[0]);
    }
}

/// A pilot of 1 kHz at 1 MS/s whose duty goes from one value to another at 50 ms, at a pulse's beginning.
fn with_duty(old: f64, new: f64) -> Channel {
    let at = |index: u32| {
        let (cycle, phase) = (index / 1000, f64::from(index % 1000) / 1000.0);
        let duty = if cycle < 50 { old } else { new };
        // Edges of 10 µs about the moments of the duty.
        let up = ((phase * 1000.0) / 10.0).min(1.0);
        let down = ((phase - duty) * 1000.0 / 10.0).clamp(0.0, 1.0);
        -12.0 + 21.0 * (up - down)
    };
    channel(&(0..100_000).map(at).collect::<Vec<_>>(), 1e-6)
}

#[test]
fn a_duty_changes_between_two_pulses() {
    for (old, new) in [(0.5, 0.1), (0.1, 0.5), (0.85, 0.86)] {
        let channel = with_duty(old, new);
        let level = 0.5 * (old + new);
        let found = channel.event(Part::Duty, level, new > old, Which::First, 0.0).unwrap();
        holds(&found, 0.05, 1.1e-3);
        assert_eq!(channel.events(Part::Duty, level, new < old), Ok(Vec::new()));
        let duties = channel.values(Part::Duty).unwrap();
        near(duties[10], old, 2e-3);
        near(duties[80], new, 2e-3);
    }
    let steady = channel(&vec![12.0; 10_000], 1e-6);
    let lack = steady.event(Part::Duty, 0.5, true, Which::First, 0.0);
    assert!(matches!(lack, Err(Lack::TooFewCycles { have: 0, .. })), "{lack:?}");
}

/// A line pole and then a neutral pole close, each with one bounce; between a known burden the open neutral leaves half.
fn two_poles(interval: f64, frequency_hz: f64, line: impl Fn(f64) -> bool, neutral: impl Fn(f64) -> bool) -> Vec<f64> {
    let at = |time: f64| {
        let share = match (line(time), neutral(time)) {
            (true, true) => 1.0,
            (true, false) => 0.5,
            _ => 0.0,
        };
        0.7 + share * 325.0 * (2.0 * PI * frequency_hz * time).sin()
    };
    (0..(0.6 / interval) as usize)
        .map(|index| at(index as f64 * interval))
        .collect()
}

proptest! {
    /// Wherever within a period the poles close, both are found, but for what a zero crossing hides.
    #[test]
    fn poles_that_close_one_after_the_other(closes in 0.100f64..0.120, skew in 0.0005f64..0.015, off in -5e-5f64..5e-5) {
        let bounce = |time: f64, from: f64| time >= from && !(from + 0.0006..from + 0.0018).contains(&time);
        let samples = two_poles(1e-4, 50.0 * (1.0 + off), |t| bounce(t, closes), |t| bounce(t, closes + skew + 0.002));
        let channel = channel(&samples, 1e-4);
        let first = |level| channel.event(Part::Contact, level, true, Which::First, 0.0).unwrap();
        // A zero crossing hides 1.3 ms, and with them a first touch of 0.6 ms that falls into it.
        let touch = first(0.15);
        prop_assert!(touch.latest_s >= closes && touch.earliest_s <= closes + 0.0019, "{touch:?}");
        let both = first(0.75);
        prop_assert!(both.latest_s >= closes + skew + 0.002 && both.earliest_s <= closes + skew + 0.0041);
        let rest = channel.event(Part::Contact, 0.75, true, Which::Last, 0.0).unwrap();
        prop_assert!(rest.latest_s >= both.latest_s && rest.earliest_s <= closes + skew + 0.0041);
        let opened = channel.events(Part::Contact, 0.75, false).unwrap();
        prop_assert!(opened.len() <= 1, "{opened:?}");
    }

    /// Wherever within a period it closes, the first touch and the last lie within what is told of them: a flight of a rebound lasts half as
    /// long as the touch before it to twice as long, each bounce 0.3 of the one before, and one bounce may be the only one.
    #[test]
    fn what_a_zero_crossing_hides_of_a_bounce_counts(
        closes in 0.100f64..0.120,
        flight in 0.0007f64..0.0024,
        touch in 0.5f64..2.0,
        again in proptest::bool::ANY,
    ) {
        let second = touch + 1.0;
        let last = second + if again { 0.3 * second } else { 0.0 };
        let touches = [(0.0, touch), (second, second + 0.3 * touch), (last, f64::INFINITY)];
        let on = |time: f64| touches.iter().any(|(from, to)| time >= closes + from * flight && time < closes + to * flight);
        let channel = channel(&mains(1e-4, 0.6, 230.0, on), 1e-4);
        for (which, truth) in [(Which::First, closes), (Which::Last, closes + last * flight)] {
            let found = channel.event(Part::Contact, 0.75, true, which, 0.0).unwrap();
            let hidden_s = found.hidden_s(which);
            let expanded_s = COVERAGE * found.standard_s().hypot(rectangular(hidden_s));
            prop_assert!((found.at_s - truth).abs() <= expanded_s, "{which:?} is {truth}, not {found:?} ± {expanded_s}");
            prop_assert!(hidden_s <= hidden_by_crossing_s(50.0, 1e-4), "{found:?}");
        }
    }

    #[test]
    fn the_angle_at_which_a_wave_ends(angle in -179.0f64..179.0) {
        let ends = 0.2 + angle / 360.0 / 50.0;
        let samples = mains(5e-5, 0.4, 230.0, |time| time < ends);
        let channel = channel(&samples, 5e-5);
        let wave = channel.wave().unwrap();
        let found = wave.angle_at(ends / 5e-5).to_degrees();
        prop_assert!((found - angle).abs() < 0.5, "{found} for {angle}");
        prop_assert!((wave.turn() - 2.0 * PI * 50.0 * 5e-5).abs() < 1e-5);
    }
}

/// The flight is shorter than the touch before it, and falls into the zero crossing: the contact seems to have closed at once.
#[test]
fn a_touch_may_be_longer_than_the_flight_that_a_zero_crossing_hides() {
    let mut hidden = 0;
    for step in 0..200 {
        let closes = 0.100 + 1e-4 * f64::from(step);
        let on = |time: f64| time >= closes && !(closes + 0.002..closes + 0.003).contains(&time);
        let found = channel(&mains(1e-4, 0.6, 230.0, on), 1e-4)
            .event(Part::Contact, 0.75, true, Which::Last, 0.0)
            .unwrap();
        let error_s = (found.at_s - closes - 0.003).abs();
        hidden += i32::from(error_s > 0.0025);
        let expanded_s = COVERAGE * found.standard_s().hypot(rectangular(found.hidden_s(Which::Last)));
        assert!(error_s <= expanded_s, "{closes}: {found:?}, {expanded_s}");
    }
    assert!(hidden > 2, "{hidden}");
}

#[test]
fn a_contact_that_moves_away_from_a_zero_crossing_hides_nothing() {
    // At the peak of the wave; and 2 ms, then 4 ms behind its zero, which hides 0.64 ms to either side.
    for (closes, hides) in [(0.105, false), (0.102, true), (0.104, false)] {
        let channel = channel(&mains(1e-4, 0.6, 230.0, |time| time >= closes), 1e-4);
        let found = channel.event(Part::Contact, 0.75, true, Which::First, 0.0).unwrap();
        assert_eq!(found.hidden_s(Which::First) > 0.0, hides, "{found:?}");
        let least = if hides { closes - 0.0994 } else { 0.0 };
        near(found.hidden_s(Which::First), least, 1.1e-4);
        assert!(found.standard_s() < 1e-4, "{found:?}");
    }
}

#[test]
fn where_there_is_no_wave_nothing_is_told_of_a_contact() {
    let noise: Vec<f64> = (0..4000).map(|index| f64::from((index * 7919) % 17) * 0.01).collect();
    let silent = channel(&noise, 1e-4);
    assert!(matches!(
        silent.events(Part::Contact, 0.5, true),
        Err(Lack::NoWave { .. })
    ));
    let short = mains(1e-4, 0.3, 230.0, |time| time > 0.27);
    assert!(matches!(channel(&short, 1e-4).wave(), Err(Lack::NoWave { .. })));
    let steady = mains(1e-4, 0.3, 230.0, |_| true);
    let steady = channel(&steady, 1e-4);
    assert_eq!(steady.events(Part::Contact, 0.5, true), Ok(Vec::new()));
    assert!(matches!(
        steady.event(Part::Contact, 0.5, true, Which::First, 0.0),
        Err(Lack::NoEvent { .. })
    ));
}
