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
