//! `inspect`: anybody's capture as CSV, and CSV that is none.

use crate::support::{Place, snapshot};
use std::fmt::Write;

/// 1 kHz between `high` and `low` volts at 1 MS/s for 20 ms, with straight edges of 4 µs.
fn pulse(high: f64, low: f64, duty: f64) -> String {
    let mut text = String::from("time,volts\n");
    for n in 0..20_000 {
        let phase_us = f64::from(n % 1000);
        let up = (phase_us / 4.0).min(1.0);
        let down = ((phase_us - duty * 1000.0) / 4.0).clamp(0.0, 1.0);
        writeln!(
            text,
            "{:.6},{:.4}",
            f64::from(n) * 1e-6,
            low + (high - low) * (up - down)
        )
        .unwrap();
    }
    text
}

#[test]
fn levels_state_duty_and_amps_of_a_good_pilot() {
    let place = Place::new();
    place.write("good.csv", pulse(9.0, -12.0, 0.5333));
    let ran = place.run(&["inspect", "good.csv", "--current", "32 A"]).exits(0);
    snapshot("inspect_good", &ran.out);
    let json = place.run(&["inspect", "good.csv", "--json"]).exits(0).json();
    assert_eq!(json["state"], "B2");
    assert!(
        (json["pulse"]["frequency"].as_f64().unwrap() - 1000.0).abs() < 0.1,
        "{json:#}"
    );
    // SAE J1772 and IEC 61851-1 Table A.7: current = duty × 60 A.
    assert!((json["amps"].as_f64().unwrap() - 32.0).abs() < 0.1, "{json:#}");
    assert!(
        json["judged"]
            .as_array()
            .unwrap()
            .iter()
            .all(|row| row["verdict"] == "pass"),
        "{json:#}"
    );
}

#[test]
fn what_is_outside_says_so_and_exits_1() {
    let place = Place::new();
    place.write("weak.csv", pulse(9.0, -10.0, 0.5333));
    let ran = place.run(&["inspect", "weak.csv", "--no-drawing"]).exits(1);
    assert!(
        ran.out.contains("OUTSIDE") && ran.out.contains("pilot.generator_low"),
        "{}",
        ran.out
    );
    assert!(
        place
            .run(&["inspect", "weak.csv", "--current", "16 A"])
            .exits(1)
            .out
            .contains("pilot.duty_of_setting")
    );
}

/// 230 V, 50 Hz, and a current of these rms values at their orders, in phase, at 10 kHz for 0.25 s.
fn mains(orders: &[(f64, f64)]) -> String {
    let mut text = String::from("time,volts,amps\n");
    for n in 0..2500 {
        let time = f64::from(n) * 1e-4;
        let sine = |order: f64| (2.0 * std::f64::consts::PI * 50.0 * order * time).sin() * 2f64.sqrt();
        let amps: f64 = orders.iter().map(|(order, rms)| rms * sine(*order)).sum();
        writeln!(text, "{time:.4},{:.4},{amps:.5}", 230.0 * sine(1.0)).unwrap();
    }
    text
}

/// 16 A with 2 A of the third and 1.5 A of the fifth harmonic: IEC 61000-3-2, Table 1 allows 2.30 A and 1.14 A.
#[test]
fn power_and_harmonics_of_volts_and_amps() {
    let place = Place::new();
    place.write("mains.csv", mains(&[(1.0, 15.0), (3.0, 2.0), (5.0, 1.5), (7.0, 0.1)]));
    let ran = place.run(&["inspect", "mains.csv"]).exits(1);
    snapshot("inspect_mains", &ran.out);
    let json = place.run(&["inspect", "mains.csv", "--json"]).exits(1).json();
    let near = |what: &str, wanted: f64| {
        let found = json["power"][what].as_f64().unwrap();
        assert!(
            (found - wanted).abs() < 1e-4 * wanted,
            "{what}: {found}, wanted {wanted}"
        );
    };
    let rms = (15.0_f64.powi(2) + 2.0_f64.powi(2) + 1.5_f64.powi(2) + 0.01).sqrt();
    near("active", 230.0 * 15.0);
    near("apparent", 230.0 * rms);
    near("factor", 15.0 / rms);
    near("displacement", 1.0);
    near("thd", (2.0_f64.powi(2) + 1.5_f64.powi(2) + 0.01).sqrt() / 15.0);
    let judged = json["judged"].as_array().unwrap();
    assert_eq!(judged.len(), 39);
    let failed: Vec<&str> = judged
        .iter()
        .filter(|row| row["verdict"] == "fail")
        .map(|row| row["limit"].as_str().unwrap())
        .collect();
    assert_eq!(failed, ["class_a.harmonic_5"]);
}

#[test]
fn what_cannot_be_judged_of_volts_and_amps_says_why() {
    let place = Place::new();
    // IEC 61000-3-2 ends at 16 A a phase.
    place.write("strong.csv", mains(&[(1.0, 20.0), (3.0, 5.0)]));
    let ran = place.run(&["inspect", "strong.csv"]).exits(0);
    assert!(
        ran.out.contains("nothing judged") && ran.out.contains("16 A"),
        "{}",
        ran.out
    );
    // Nine cycles tell power, but no window of ten.
    let short = mains(&[(1.0, 10.0)])
        .lines()
        .take(1900)
        .fold(String::new(), |text, line| text + line + "\n");
    place.write("short.csv", short);
    let ran = place.run(&["inspect", "short.csv"]).exits(0);
    assert!(
        ran.out.contains("active") && ran.out.contains("THD              no value"),
        "{}",
        ran.out
    );
    place.write("steady.csv", "0,1,1\n1,1,1\n2,1,1\n3,1,1\n");
    place.run(&["inspect", "steady.csv"]).refused(&["steady.csv"]);
}

#[test]
fn steady_levels_have_their_states() {
    let place = Place::new();
    let steady = |volts: f64| {
        (0..2000).fold(String::new(), |text, n| {
            text + &format!("{:.6};{volts}\n", f64::from(n) * 1e-6)
        })
    };
    for (volts, state) in [
        (12.0, "A1"),
        (9.0, "B1"),
        (6.0, "C1"),
        (3.0, "D1"),
        (0.0, "E"),
        (-12.0, "F"),
        (7.5, "?"),
    ] {
        place.write("steady.csv", steady(volts));
        let json = place.run(&["inspect", "steady.csv", "--json"]).json();
        assert_eq!(json["state"], state, "{volts} V");
    }
}

#[test]
fn wrong_csv_is_refused_with_its_line() {
    let place = Place::new();
    let good = pulse(9.0, -12.0, 0.5);
    let cases = [
        ("empty", String::new()),
        ("heading only", "time,volts\n".to_owned()),
        ("one sample", "0,1\n".to_owned()),
        ("words", good.replace("0.000500,", "noon,")),
        ("one column", "1\n2\n3\n".to_owned()),
        ("decimal commas", "0,000;1,5\n0,001;1,6\n".to_owned() + "x\n"),
        ("not a number", good.replace("0.000500,9.0000", "0.000500,NaN")),
        ("time goes back", "0,1\n-1,2\n-2,1\n".to_owned()),
        ("time stands", "0,1\n0,2\n0,1\n".to_owned()),
        ("uneven", "0,1\n1,2\n2,1\n30,2\n31,1\n".to_owned()),
        ("huge", "0,1e308\n1,-1e308\n2,1e308\n3,-1e308\n".to_owned() + "x\n"),
    ];
    for (what, text) in cases {
        place.write("wrong.csv", text);
        let ran = place.run(&["inspect", "wrong.csv"]);
        assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{what}: {ran:?}");
        assert!(
            ran.err.contains("wrong.csv") && ran.err.contains("mend: "),
            "{what}: {ran:?}"
        );
    }
    place.write("words.csv", good.replace("0.000500,", "noon,"));
    place
        .run(&["inspect", "words.csv"])
        .refused(&["words.csv:502:", "noon"]);
    place.write("binary.csv", [0_u8, 159, 146, 150]);
    place.run(&["inspect", "binary.csv"]).refused(&["binary.csv"]);
    place.run(&["inspect", "nowhere.csv"]).refused(&["nowhere.csv"]);
}

#[test]
fn a_current_is_a_current() {
    let place = Place::new();
    place.write("good.csv", pulse(9.0, -12.0, 0.5333));
    for wrong in ["32", "32 V", "0 A", "-6 A", "many"] {
        place
            .run(&["inspect", "good.csv", &format!("--current={wrong}")])
            .refused(&["--current", "32 A"]);
    }
    place
        .run(&["inspect", "good.csv", "--limits", "iec"])
        .refused(&["limit set"]);
}

#[test]
fn a_line_of_hostile_text_stays_text() {
    let place = Place::new();
    place.write("hostile.csv", "0,1\n\u{1b}]0;owned\u{7},2\n");
    let ran = place.run_with(&["inspect", "hostile.csv"], &[("CLICOLOR_FORCE", "1")], "");
    assert!(!ran.err.contains('\u{7}') && !ran.err.contains("\u{1b}]"), "{ran:?}");
}
