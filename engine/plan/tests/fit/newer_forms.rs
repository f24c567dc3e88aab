//! A wait by a limit of the set, contacts and angles in captures, and a proof of death while the pilot load asks.

use crate::build::*;
use pilotage_core::Tolerance;
use pilotage_plan::files::limits::{LimitText, ToleranceText};
use pilotage_plan::files::sequence::*;
use pilotage_plan::fit::code;
use pilotage_plan::program::{ActKind, Find};

/// A wait for the pulse by a key of the set whose limit is `tolerance`, in s.
fn waiting(key: &str, tolerance: ToleranceText) -> Files {
    let wait = ActForm::WaitFor {
        condition: ConditionText {
            point: sp("pilot.low"),
            wanted: WantedText::Number(ToleranceText::AtMost(f("-8 V"))),
        },
        every: f("200 ms"),
        latest: Latest::Limit(sp(key)),
        name: Some(sp("t_x2")),
        otherwise: Otherwise {
            inconclusive: true,
            side: None,
            says: None,
        },
    };
    let mut files = Files::new(vec![step("WU-13", vec![act(wait)])]);
    let like = files.limits.limits[0].clone();
    files.limits.limits.push(LimitText {
        key: sp("pilot.x2_delay"),
        title: "Time to the pulse".to_owned(),
        unit: sp("s"),
        tolerance,
        ..like
    });
    files
}

#[test]
fn a_wait_may_take_its_deadline_and_its_source_from_the_set() {
    let files = waiting("pilot.x2_delay", ToleranceText::AtMost(f("25 s")));
    let program = files.fit().unwrap();
    let ActKind::WaitFor(wait) = &program.steps[0].acts[0].kind else {
        panic!("a wait expected")
    };
    assert_eq!(wait.deadline.as_secs(), 25);
    assert_eq!(
        (wait.limit.key.as_str(), wait.limit.title.as_str()),
        ("pilot.x2_delay", "Time to the pulse")
    );
    assert!(matches!(wait.limit.tolerance, Tolerance::AtMost(bound) if (bound.si() - 25.0).abs() < 1e-12));
    let other_key = waiting("pilot.x3_delay", ToleranceText::AtMost(f("25 s")));
    assert_eq!(other_key.codes(), [code::UNKNOWN_LIMIT]);
    let endless = waiting("pilot.x2_delay", ToleranceText::AtLeast(f("25 s")));
    assert_eq!(endless.codes(), [code::TIME_RANGE]);
}

fn captured(level: &str) -> Files {
    let wave = "ac_output[L-N]";
    let mut acts = switched_on();
    acts.push(capture(&["pilot", wave], "1 s", "20 kHz", Vec::new()));
    let count = FindText::Count {
        event: event(wave, SignalPart::Contact, false, level),
    };
    acts.push(find("bounces", count));
    let angle = FindText::Angle {
        wave: sp(wave),
        at: event("pilot", SignalPart::High, true, "7.5 V"),
        near: Some(f("170 °")),
    };
    acts.push(find("angle_met", angle));
    Files::new(vec![step("WU-19", acts)])
}

#[test]
fn a_contact_is_a_share_and_an_angle_is_in_degrees() {
    let program = captured("75 %").fit().unwrap();
    let acts = &program.steps[0].acts;
    let [.., bounces, angle] = acts.as_slice() else {
        panic!()
    };
    let (ActKind::Find(bounces), ActKind::Find(angle)) = (&bounces.kind, &angle.kind) else {
        panic!("two analyses expected")
    };
    assert!(matches!(&bounces[0].find, Find::Count(event) if (event.level.si() - 0.75).abs() < 1e-12));
    assert!(
        matches!(&angle[0].find, Find::Angle(wave, _, near) if (near.si() - 170f64.to_radians()).abs() < 1e-12 && wave == "ac_output[L-N]")
    );
    assert_eq!(angle[0].unit, "°");
    assert_eq!(captured("75 V").codes(), [code::DIMENSION]);
}

#[test]
fn a_duty_is_a_share_of_the_period() {
    let through = |level: &str| {
        let mut acts = switched_on();
        acts.push(capture(&["pilot"], "1 s", "100 kHz", Vec::new()));
        let (from, to) = (
            event("pilot", SignalPart::Duty, false, level),
            event("pilot", SignalPart::High, true, "7.5 V"),
        );
        acts.push(find("follows", FindText::Between { from, to }));
        Files::new(vec![step("WU-19", acts)])
    };
    assert!(through("30 %").fit().is_ok());
    assert_eq!(through("7 V").codes(), [code::DIMENSION]);
}

#[test]
fn nothing_is_proven_dead_while_the_pilot_load_asks() {
    let proven = |before: Vec<ActText>| {
        let mut acts = switched_on();
        acts.extend(before);
        acts.push(prove_dead("ac_output"));
        Files::new(vec![step("WU-18", acts)]).codes()
    };
    let state = |word: &str| set("pilot_load", word);
    assert_eq!(proven(vec![state("state_C")]), [code::STILL_ASKING]);
    assert_eq!(
        proven(vec![set_to("pilot_load.resistance", "882 Ω")]),
        [code::STILL_ASKING]
    );
    assert_eq!(proven(vec![state("state_C"), set("supply", "off")]), [""; 0]);
    assert_eq!(proven(vec![state("state_C"), state("state_B")]), [""; 0]);
}
