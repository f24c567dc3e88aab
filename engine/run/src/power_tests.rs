//! Analyses of a capture of voltage and current whose waves are known.
#![allow(clippy::unwrap_used)]

use crate::find::Look;
use crate::runner::LastCapture;
use crate::world::Captured;
use pilotage_core::power::Grouping;
use pilotage_core::{Datum, Dimension, NoValue, Quantity, RunTime, Uncertainty, Unit};
use pilotage_evidence::event::CapturedChannel;
use pilotage_plan::files::power::{DistortionTake, InrushTake, PairOf, PowerFind, PowerTake, ResponseTake, RippleTake};
use pilotage_plan::files::sequence::SignalPart;
use pilotage_plan::program::CaptureEvent;
use std::f64::consts::PI;
use std::time::Duration;

const RATE_HZ: f64 = 20e3;
const COUNT: usize = 12_000;
const U: &str = "ac_input[L-N]";
const I: &str = "ac_input[L].current";
const U_OUT: &str = "dc_output.voltage";
const I_OUT: &str = "dc_output.current";

/// What a channel shows over time, in its unit, in steps of `scale`.
fn channel(point: &str, unit: &str, scale: f64, wave: impl Fn(f64) -> f64) -> (CapturedChannel, Vec<i16>) {
    let sample = |index: usize| (wave(index as f64 / RATE_HZ) / scale).round() as i16;
    let channel = CapturedChannel {
        point: point.to_owned(),
        unit: unit.to_owned(),
        first_sample: RunTime::START,
        interval_s: 1.0 / RATE_HZ,
        samples: COUNT as u64,
        offset: 0.0,
        scale,
        gain_standard: Some(0.002),
        offset_standard: Some(0.0),
        time_standard: Some(1e-6),
        delay_standard_s: None,
    };
    (channel, (0..COUNT).map(sample).collect())
}

fn sine(rms: f64, hz: f64, phase: f64) -> impl Fn(f64) -> f64 {
    move |time| rms * 2f64.sqrt() * (2.0 * PI * hz * time + phase).sin()
}

/// 230 V and 16 A at 49.9 Hz, the current 20° late with 2.3 A of the third; 400 V DC and 8 A with 0.2 A rms at twice the line.
fn charger() -> LastCapture {
    let lag = 20f64.to_radians();
    let channels = [
        channel(U, "V", 0.02, sine(230.0, 49.9, 0.4)),
        channel(I, "A", 0.002, move |time| {
            sine(16.0, 49.9, 0.4 - lag)(time) + sine(2.3, 149.7, 0.2)(time)
        }),
        channel(U_OUT, "V", 0.02, |_| 400.0),
        channel(I_OUT, "A", 0.002, |time| 8.0 + sine(0.2, 99.8, 0.0)(time)),
    ];
    captured(channels.into())
}

fn captured(channels: Vec<(CapturedChannel, Vec<i16>)>) -> LastCapture {
    let (channels, samples) = channels.into_iter().unzip();
    let captured = Captured {
        channels,
        samples,
        exchanges: Vec::new(),
    };
    LastCapture::new(1, "OB-32-1".to_owned(), captured)
}

type Spec = PowerFind<String, Quantity, CaptureEvent>;

fn find(last: &LastCapture, find: &Spec) -> Datum {
    let look = Look {
        last,
        mains_hz: 50.0,
        reading: "found",
    };
    look.power(find)
}

fn value(last: &LastCapture, spec: &Spec) -> f64 {
    find(last, spec).unwrap().value.si()
}

fn pair(voltage: &str, current: &str) -> PairOf<String> {
    PairOf {
        voltage: voltage.to_owned(),
        current: current.to_owned(),
    }
}

fn power(take: PowerTake) -> Spec {
    PowerFind::Power { of: pair(U, I), take }
}

fn near(what: &str, found: f64, wanted: f64, share: f64) {
    assert!(
        (found - wanted).abs() <= share * wanted.abs(),
        "{what}: found {found}, wanted {wanted}"
    );
}

/// The combined standard uncertainty, as a share of the value.
fn share(datum: &Datum) -> f64 {
    let measured = datum.as_ref().unwrap();
    measured.standard().unwrap() / measured.value.si().abs()
}

fn pure(number: f64) -> Quantity {
    Quantity::new(number, Dimension::NONE).unwrap()
}

#[test]
fn power_is_that_of_the_waves_and_carries_both_gains() {
    let last = charger();
    let active = 230.0 * 16.0 * 20f64.to_radians().cos();
    let amps = 16f64.hypot(2.3);
    for (take, wanted) in [
        (PowerTake::Active, active),
        (PowerTake::Apparent, 230.0 * amps),
        (PowerTake::Factor, active / (230.0 * amps)),
        (PowerTake::Displacement, 20f64.to_radians().cos()),
        (PowerTake::Angle, 20f64.to_radians()),
        (PowerTake::Frequency, 49.9),
        (PowerTake::Current, amps),
    ] {
        near(take.word(), value(&last, &power(take)), wanted, 1e-4);
    }
    // Two gains of 0.2 % each; in a ratio of P and S they cancel.
    near(
        "u of P",
        share(&find(&last, &power(PowerTake::Active))),
        0.002 * 2f64.sqrt(),
        0.01,
    );
    assert!(share(&find(&last, &power(PowerTake::Factor))) < 1e-5);
    near("u of f", share(&find(&last, &power(PowerTake::Frequency))), 1e-6, 0.01);
}

/// JCGM 100, 5.1.2: at 20° and 49.9 Hz a microsecond of delay is 2π·49.9·1e-6 rad, and moves cos φ by its sine times that; the delays of
/// voltage and current are two sources.
#[test]
fn a_delay_of_either_channel_counts() {
    let turn = 2.0 * PI * 49.9 * 1e-6;
    let sine = 20f64.to_radians().sin();
    for (delayed, times) in [(vec![I], 1.0), (vec![U], 1.0), (vec![U, I], 2f64.sqrt())] {
        let mut last = charger();
        for channel in &mut last.captured.channels {
            channel.gain_standard = Some(0.0);
            channel.delay_standard_s = delayed.contains(&channel.point.as_str()).then_some(1e-6);
        }
        let standard = |take| find(&last, &power(take)).unwrap().standard().unwrap();
        near(
            "u of cos φ",
            standard(PowerTake::Displacement),
            times * sine * turn,
            0.01,
        );
        near("u of φ", standard(PowerTake::Angle), times * turn, 0.01);
        near(
            "u of P",
            standard(PowerTake::Active),
            times * 230.0 * 16.0 * sine * turn,
            0.02,
        );
        let distorted = 16.0 / 16f64.hypot(2.3);
        near(
            "u of the factor",
            standard(PowerTake::Factor),
            times * sine * turn * distorted,
            0.01,
        );
    }
}

#[test]
fn an_efficiency_has_both_sides() {
    let last = charger();
    let sides = |output, input| PowerFind::Efficiency { output, input };
    let charging = sides(pair(U_OUT, I_OUT), pair(U, I));
    let wanted = 3200.0 / (230.0 * 16.0 * 20f64.to_radians().cos());
    near("efficiency", value(&last, &charging), wanted, 1e-4);
    near("four gains", share(&find(&last, &charging)), 0.004, 0.01);
    // Back into the mains: the line is on the other side.
    let back = sides(pair(U, I), pair(U_OUT, I_OUT));
    near("the other way", value(&last, &back), 1.0 / wanted, 1e-4);
    let itself = sides(pair(U, I), pair(U, I));
    assert!(share(&find(&last, &itself)) < 1e-4, "the gains of one channel cancel");
    let direct = sides(pair(U_OUT, I_OUT), pair(U_OUT, I_OUT));
    let missing = find(&last, &direct).unwrap_err().to_string();
    assert!(missing.contains("steady at 400 V"), "{missing}");
}

#[test]
fn harmonics_and_ripple_are_those_of_the_waves() {
    let last = charger();
    let harmonic = |order: f64| PowerFind::Harmonic {
        of: I.to_owned(),
        line: U.to_owned(),
        order: pure(order),
        grouping: Grouping::Group,
    };
    near("third", value(&last, &harmonic(3.0)), 2.3, 1e-4);
    near("one gain", share(&find(&last, &harmonic(3.0))), 0.002, 0.01);
    let distortion = |take| PowerFind::Distortion {
        of: I.to_owned(),
        line: U.to_owned(),
        take,
        grouping: Grouping::Line,
    };
    near("THD", value(&last, &distortion(DistortionTake::Thd)), 2.3 / 16.0, 1e-3);
    near("THC", value(&last, &distortion(DistortionTake::Total)), 2.3, 1e-3);
    let of_line = |take| PowerFind::RippleOfLine {
        of: I_OUT.to_owned(),
        line: U.to_owned(),
        take,
    };
    near(
        "twice the line",
        value(&last, &of_line(RippleTake::Span)),
        0.2 * 8f64.sqrt(),
        1e-3,
    );
    let ripple = |take| PowerFind::Ripple {
        of: I_OUT.to_owned(),
        bandwidth: Quantity::new(1e3, Dimension::FREQUENCY).unwrap(),
        take,
    };
    let filtered = 0.2 / 1f64.hypot(0.0998);
    near("ripple", value(&last, &ripple(RippleTake::Rms)), filtered, 2e-3);
    near(
        "its span",
        value(&last, &ripple(RippleTake::Span)),
        filtered * 8f64.sqrt(),
        0.01,
    );
}

#[test]
fn channels_of_other_moments_are_not_multiplied() {
    let mut all = charger().captured;
    all.channels[1].first_sample = RunTime::START.plus(Duration::from_micros(20));
    let last = LastCapture::new(1, "x".to_owned(), all);
    let NoValue::Missing(why) = find(&last, &power(PowerTake::Active)).unwrap_err() else {
        panic!("a reason")
    };
    assert!(why.contains("not sampled at the same moments"), "{why}");
}

#[test]
fn what_the_instrument_does_not_tell_stays_unknown() {
    let mut all = charger().captured;
    all.channels[0].gain_standard = None;
    let last = LastCapture::new(1, "x".to_owned(), all);
    let uncertainty = find(&last, &power(PowerTake::Active)).unwrap().uncertainty;
    assert!(matches!(uncertainty, Uncertainty::Unknown(why) if why.contains("ac_input[L-N], gain")));
}

/// 100 A falling with 5 ms from 10 ms on: above 20 A for 5 ms·ln 5, I²t of what lies above 100²·2.5 ms·(1 − 1/25).
#[test]
fn an_inrush_has_peak_time_and_square_time() {
    let decay = |time: f64| {
        if time < 0.01 {
            0.0
        } else {
            -100.0 * (-(time - 0.01) / 5e-3).exp()
        }
    };
    let last = captured(vec![channel(I, "A", 0.01, decay)]);
    let inrush = |take| PowerFind::Inrush {
        of: I.to_owned(),
        take,
        above: Some(Quantity::new(20.0, Dimension::CURRENT).unwrap()),
    };
    near("peak", value(&last, &inrush(InrushTake::Peak)), 100.0, 1e-3);
    near(
        "time",
        value(&last, &inrush(InrushTake::TimeAbove)),
        5e-3 * 5f64.ln(),
        6e-3,
    );
    near(
        "I²t",
        value(&last, &inrush(InrushTake::SquareTime)),
        100.0 * 100.0 * 2.5e-3 * 0.96,
        0.02,
    );
    near(
        "twice the gain",
        share(&find(&last, &inrush(InrushTake::SquareTime))),
        0.004,
        0.2,
    );
    let square_time = find(&last, &inrush(InrushTake::SquareTime)).unwrap();
    assert_eq!(square_time.value.dimension(), Unit::find("A²s").unwrap().dimension);
}

/// From 32 A to 10 A with a time constant of 40 ms, 100 ms after the first sample, when the pilot changes.
#[test]
fn a_response_of_an_alternating_current_is_found_in_its_envelope() {
    let level = |time: f64| {
        if time < 0.1 {
            32.0
        } else {
            10.0 + 22.0 * (-(time - 0.1) / 0.04).exp()
        }
    };
    let last = captured(vec![
        channel(I, "A", 0.005, move |time| level(time) * sine(1.0, 50.0, 0.3)(time)),
        channel("pilot", "V", 0.001, |time| if time < 0.1 { 9.0 } else { 6.0 }),
    ]);
    let response = |take| PowerFind::Response {
        of: I.to_owned(),
        part: SignalPart::Envelope,
        change: CaptureEvent {
            channel: "pilot".to_owned(),
            part: SignalPart::Samples,
            rises: false,
            level: Quantity::new(7.5, Dimension::VOLTAGE).unwrap(),
            last: false,
        },
        take,
        band: pure(0.05),
    };
    near("before", value(&last, &response(ResponseTake::Before)), 32.0, 1e-3);
    near("after", value(&last, &response(ResponseTake::After)), 10.0, 1e-3);
    let time = find(&last, &response(ResponseTake::Time)).unwrap();
    let wanted = 0.04 * (22.0_f64 / 0.5).ln();
    assert!(
        (time.value.si() - wanted).abs() < 0.005,
        "{} against {wanted}",
        time.value.si()
    );
    // A half period, taken as rectangular.
    near("u of the time", time.standard().unwrap(), 5e-3 / 3f64.sqrt(), 0.05);
    assert!(value(&last, &response(ResponseTake::Overshoot)) < 0.02);
}
