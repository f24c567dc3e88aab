//! Computed values, limits and analyses of captures and sweeps.

use crate::acts::{first_step, live_with, ms};
use crate::fakes::volts;
use crate::program::{Builder, judge, limit, read, span};
use crate::recorder::run_with;
use pilotage_core::{Dimension, Expr, NoValue, Quantity, Tolerance, Uncertainty};
use pilotage_evidence::Verdict::{Error, Fail, Inconclusive, NotRun, Pass};
use pilotage_evidence::{EnergyState, Event};
use pilotage_plan::files::sequence::{LevelTake, SignalPart};
use pilotage_plan::program::{Act, ActKind, CaptureEvent, CaptureSpec, Find, FindSpec, JudgeSpec, LateBounds};
use std::collections::BTreeMap;

const OUTPUT: &str = "ac_output[L-N].voltage";

fn judge_formula(formula: &str, tolerance: Tolerance) -> JudgeSpec {
    JudgeSpec {
        name: "computed".to_owned(),
        value: Some(Expr::parse(formula).unwrap()),
        unit: "V".to_owned(),
        limits: vec![limit("computed", tolerance, "V")],
        late_bounds: BTreeMap::new(),
        when: None,
    }
}

#[test]
fn computed_values_name_what_went_in() {
    let tolerance = Tolerance::Between(volts(229.0), volts(231.0));
    let acts = vec![
        ActKind::Read(vec![read("v", OUTPUT, "V")]),
        ActKind::Judge(vec![judge_formula("$v * $factor", tolerance)]),
    ];
    let mut program = live_with(acts);
    program
        .constants
        .insert("factor".to_owned(), Quantity::new(1.0, Dimension::NONE).unwrap());
    let ran = run_with(&program, |_, _, _| {});
    assert_eq!(first_step(&ran).0, Pass);
    let computed = ran.reading("computed");
    assert_eq!(computed.formula.as_deref(), Some("$v * $factor"));
    assert_eq!(computed.from.keys().collect::<Vec<_>>(), ["v"]);
    assert_eq!(computed.constants.keys().collect::<Vec<_>>(), ["factor"]);
}

#[test]
fn a_division_by_nothing_is_no_pass() {
    let acts = vec![
        ActKind::Read(vec![read("v", OUTPUT, "V")]),
        ActKind::Judge(vec![judge_formula(
            "$v / ($v / $v - 1)",
            Tolerance::AtLeast(volts(-1e30)),
        )]),
    ];
    let ran = run_with(&live_with(acts), |_, _, _| {});
    assert_eq!(first_step(&ran).0, Inconclusive);
}

#[test]
fn late_bounds_and_conditions_follow_the_readings() {
    let spec = |when: &str, high: &str| JudgeSpec {
        late_bounds: BTreeMap::from([(
            0,
            LateBounds {
                low: None,
                high: Some(Expr::parse(high).unwrap()),
            },
        )]),
        when: Some(Expr::parse(when).unwrap()),
        ..judge_formula("$v", Tolerance::AtMost(volts(0.0)))
    };
    let verdict = |when: &str, high: &str| {
        let acts = vec![
            ActKind::Read(vec![read("v", OUTPUT, "V")]),
            ActKind::Judge(vec![spec(when, high)]),
        ];
        first_step(&run_with(&live_with(acts), |_, _, _| {})).0
    };
    assert_eq!(verdict("$v > 200 V", "$v * 1.01"), Pass);
    assert_eq!(verdict("$v > 200 V", "$v * 0.99"), Fail);
    assert_eq!(verdict("$v > 300 V", "$v * 0.99"), NotRun);
    assert_eq!(verdict("$never > 200 V", "$v * 1.01"), Inconclusive);
    assert_eq!(verdict("$v > 200 V", "$never * 1.01"), Inconclusive);
}

#[test]
fn an_uncertainty_that_the_sequence_needs_decides_whether_it_is_judged() {
    // The meter has 0.1 % of 230 V as standard uncertainty: U = 0.46 V.
    for (need_v, wanted) in [(0.5, Pass), (0.4, Inconclusive)] {
        let mut program = live_with(vec![
            ActKind::Read(vec![read("v", OUTPUT, "V")]),
            judge("v", Tolerance::AtLeast(volts(200.0))),
        ]);
        program.steps[0].needs.insert("v".to_owned(), volts(need_v));
        let ran = run_with(&program, |_, _, _| {});
        let (verdict, because, _) = first_step(&ran);
        assert_eq!(verdict, wanted, "{because}");
        assert_eq!(
            because.contains("not decidable on this bench"),
            wanted == Inconclusive,
            "{because}"
        );
    }
}

#[test]
fn every_pass_is_judged() {
    let mut program = live_with(vec![
        ActKind::Read(vec![read("v", OUTPUT, "V")]),
        judge("v", Tolerance::AtMost(volts(100.0))),
        ActKind::Read(vec![read("v", "pilot.low", "V")]),
        judge("v", Tolerance::AtMost(volts(100.0))),
    ]);
    for (place, act) in program.steps[0].acts.iter_mut().skip(2).enumerate() {
        act.pass = Some(format!("{} of 2", 1 + place / 2));
    }
    let ran = run_with(&program, |_, _, _| {});
    let judged: Vec<_> = ran
        .events
        .iter()
        .filter_map(|(_, event)| match event {
            Event::Judged(judgement) if judgement.step == 3 => {
                Some((judgement.pass.clone().unwrap(), judgement.verdict))
            }
            _ => None,
        })
        .collect();
    assert_eq!(judged, [("1 of 2".to_owned(), Fail), ("2 of 2".to_owned(), Pass)]);
    let (verdict, because, _) = first_step(&ran);
    assert_eq!(verdict, Fail, "the worst pass decides");
    assert!(because.starts_with("v (1 of 2) = 230 V"), "{because}");
}

fn capture(during: Vec<Act>) -> ActKind {
    capture_as("WU-19-1", during)
}

fn capture_as(name: &str, during: Vec<Act>) -> ActKind {
    ActKind::Capture(CaptureSpec {
        name: name.to_owned(),
        of: vec!["pilot".to_owned(), "ac_output[L-N]".to_owned()],
        length: ms(200),
        rate: 10_000.0,
        during,
    })
}

fn rise(channel: &str, level: f64) -> CaptureEvent {
    CaptureEvent {
        channel: channel.to_owned(),
        part: SignalPart::Samples,
        rises: true,
        level: volts(level),
        last: false,
    }
}

fn find(name: &str, unit: &str, find: Find) -> FindSpec {
    FindSpec {
        name: name.to_owned(),
        unit: unit.to_owned(),
        find,
    }
}

#[test]
fn events_and_levels_are_found_in_the_last_capture() {
    // Every channel steps from 0 V to 10 V in one sample interval of 0.1 ms.
    let finds = ActKind::Find(vec![
        find(
            "delay",
            "ms",
            Find::Between(rise("pilot", 2.0), rise("ac_output[L-N]", 7.0)),
        ),
        find("top", "V", Find::Level("pilot".to_owned(), LevelTake::Highest)),
        find("mean", "V", Find::Level("pilot".to_owned(), LevelTake::Mean)),
        find("count", "", Find::Count(rise("pilot", 5.0))),
        find("none", "ms", Find::Between(rise("pilot", 2.0), rise("pilot", 12.0))),
    ]);
    let ran = run_with(&live_with(vec![capture(Vec::new()), finds]), |_, _, _| {});
    let value_of = |name| ran.reading(name).value.map(|measured| measured.value.si());
    assert!(
        (value_of("delay").unwrap() - 0.5e-4).abs() < 1e-9,
        "0.5 of a sample interval"
    );
    assert_eq!(value_of("top"), Some(10.0));
    assert!((value_of("mean").unwrap() - 5.0).abs() < 1e-9);
    assert_eq!(value_of("count"), Some(1.0));
    assert!(matches!(ran.reading("none").no_value, Some(NoValue::Missing(_))));
    assert_eq!(ran.reading("delay").from.keys().collect::<Vec<_>>(), ["WU-19-1"]);
    let top = ran.reading("top").value.unwrap();
    let Uncertainty::Known(terms) = top.uncertainty else {
        panic!("gain, offset and step are known");
    };
    // Gain 0.1 % of 10 V, offset 1 mV, step 10 mV/√12.
    let wanted = (0.01f64.powi(2) + 0.001f64.powi(2) + (0.01f64 / 12f64.sqrt()).powi(2)).sqrt();
    let combined = terms.iter().map(|term| term.standard.powi(2)).sum::<f64>().sqrt();
    assert!((combined - wanted).abs() < 1e-9, "{combined} {wanted}");
}

/// The contributions of `formula` over what was found, in two captures of the same.
fn of_two_captures(formula: &str) -> Vec<(String, f64)> {
    let finds = |again: &str| {
        let named = |name: &str| format!("{name}{again}");
        let between = |from, to| Find::Between(rise("pilot", from), rise("ac_output[L-N]", to));
        ActKind::Find(vec![
            find(&named("early"), "ms", between(2.0, 5.0)),
            find(&named("late"), "ms", between(2.0, 7.0)),
            find(
                &named("rest"),
                "ms",
                Find::Between(rise("ac_output[L-N]", 5.0), rise("ac_output[L-N]", 7.0)),
            ),
            find(&named("mean"), "V", Find::Level("pilot".to_owned(), LevelTake::Mean)),
            find(&named("top"), "V", Find::Level("pilot".to_owned(), LevelTake::Highest)),
        ])
    };
    let (first, second) = (capture_as("WU-19-1", Vec::new()), capture_as("WU-19-2", Vec::new()));
    let tolerance = Tolerance::AtMost(Quantity::new(1e9, Dimension::NONE).unwrap());
    let acts = vec![
        first,
        finds(""),
        second,
        finds("_again"),
        ActKind::Judge(vec![judge_formula(formula, tolerance)]),
    ];
    let ran = run_with(&live_with(acts), |_, _, _| {});
    let Uncertainty::Known(terms) = ran.reading("computed").value.unwrap().uncertainty else {
        panic!("{formula} is known")
    };
    let sized = terms.into_iter().filter(|term| term.standard.abs() > 1e-15);
    sized.map(|term| (term.source, term.standard)).collect()
}

#[test]
fn what_two_readings_of_one_capture_share_cancels_and_nothing_else() {
    let has = |terms: &[(String, f64)], part: &str| terms.iter().filter(|(source, _)| source.contains(part)).count();
    // Both begin with one moment; then the end of one is the begin of the other.
    let difference = of_two_captures("$late - $early");
    assert_eq!(
        (has(&difference, "2 V, moment"), has(&difference, "moment")),
        (0, 2),
        "{difference:?}"
    );
    let sum = of_two_captures("$early + $rest");
    assert_eq!((has(&sum, "5 V, moment"), has(&sum, "moment")), (0, 2), "{sum:?}");
    // The same events of another capture are others.
    let again = of_two_captures("$late_again - $late");
    assert_eq!(has(&again, "moment"), 4, "{again:?}");
    // Gain and offset stay; the rounding is another one.
    let means = of_two_captures("$mean_again - $mean");
    assert_eq!((has(&means, "resolution"), means.len()), (2, 2), "{means:?}");
    // Single samples share no offset either.
    let tops = of_two_captures("$top_again - $top");
    assert_eq!((has(&tops, "resolution"), has(&tops, "offset")), (2, 2), "{tops:?}");
}

#[test]
fn an_event_that_never_comes_fails_a_limit_that_the_capture_outlasts() {
    // From 2 V in the middle of 200 ms to its end: 100 ms were waited.
    let verdict = |at_most_ms: u32, from_v: f64| {
        let within = Tolerance::AtMost(Quantity::new(f64::from(at_most_ms) * 1e-3, Dimension::TIME).unwrap());
        let finds = ActKind::Find(vec![find(
            "delay",
            "ms",
            Find::Between(rise("pilot", from_v), rise("pilot", 12.0)),
        )]);
        first_step(&run_with(
            &live_with(vec![capture(Vec::new()), finds, judge("delay", within)]),
            |_, _, _| {},
        ))
        .0
    };
    assert_eq!(verdict(90, 2.0), Fail);
    assert_eq!(verdict(110, 2.0), Inconclusive, "the capture ended too early to say");
    assert_eq!(verdict(90, 11.0), Inconclusive, "the first event did not come either");
}

#[test]
fn acts_of_a_capture_are_done_also_where_it_fails() {
    let program = |broken: bool| {
        let quiet = Act {
            number: 90,
            kind: ActKind::Quiet(crate::program::quiet("pilot_load.capacitance", "2.4 nF")),
            before: EnergyState::Live,
            after: EnergyState::Live,
            pass: None,
            constants: BTreeMap::new(),
            span: span(),
        };
        let finds = ActKind::Find(vec![find(
            "top",
            "V",
            Find::Level("pilot".to_owned(), LevelTake::Highest),
        )]);
        let acts = vec![
            capture(vec![quiet]),
            finds,
            judge("top", Tolerance::AtLeast(volts(1.0))),
        ];
        run_with(&live_with(acts), move |world, _, _| {
            if broken {
                world.faults.borrow_mut().broken.insert("arm".to_owned());
            }
        })
    };
    for (broken, wanted) in [(false, Pass), (true, Error)] {
        let ran = program(broken);
        assert_eq!(first_step(&ran).0, wanted);
        let sent = ran.world.sent();
        assert!(
            sent.iter().any(|order| order.starts_with("pilot_load.capacitance")),
            "{sent:?}"
        );
    }
}

#[test]
fn a_sweep_finds_where_a_reading_crosses() {
    let mut builder = Builder::new()
        .step("WU-17")
        .set("supply", "on")
        .set("pilot_load", "state_B");
    for ohm in ["2600 Ω", "2700 Ω", "2800 Ω"] {
        builder = builder
            .set_as("pilot_load.resistance", ohm, Some("r_set"))
            .act(ActKind::Read(vec![read("v", "pilot.low", "V")]));
    }
    let swept = Find::Swept {
        of: "r_set".to_owned(),
        crossing: "r_set".to_owned(),
        rises: true,
        level: Quantity::new(2750.0, Dimension::RESISTANCE).unwrap(),
        back: false,
    };
    let program = builder.act(ActKind::Find(vec![find("r_cross", "Ω", swept)])).build();
    let ran = run_with(&program, |_, _, _| {});
    let found = ran.reading("r_cross").value.unwrap();
    assert_eq!(found.value, Quantity::new(2750.0, Dimension::RESISTANCE).unwrap());
    assert!(
        matches!(found.uncertainty, Uncertainty::Unknown(_)),
        "as ordered, not measured"
    );
}
