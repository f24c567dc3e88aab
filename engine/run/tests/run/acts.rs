//! Each kind of act: what it reads, judges and says, and what it does when the bench does not answer.

use crate::fakes::{Faults, Ran, run_with, value, volts};
use crate::program::{Builder, ask_for_plate, judge, limit, order, read, span};
use pilotage_core::{Dimension, Expr, NoValue, Quantity, Tolerance, Uncertainty, Unit};
use pilotage_evidence::Verdict::{self, Error, Fail, Inconclusive, NotRun, Pass};
use pilotage_evidence::event::StopCause;
use pilotage_evidence::{DecisionRule, EnergyState, Event, Side};
use pilotage_plan::files::sequence::{AnswerText, LevelTake, SignalPart};
use pilotage_plan::program::{
    Act, ActKind, AskSpec, CaptureEvent, CaptureSpec, Condition, Find, FindSpec, JudgeSpec, LateBounds, MustNotSpec,
    Program, SettleSpec, WaitSpec, Wanted,
};
use pilotage_plan::source::Sp;
use std::collections::BTreeMap;
use std::time::Duration;

const OUTPUT: &str = "ac_output[L-N].voltage";

fn seconds(s: f64) -> Quantity {
    Quantity::new(s, Dimension::TIME).unwrap()
}

fn ms(ms: u64) -> Duration {
    Duration::from_millis(ms)
}

/// Goes live, does the act, and ends dead.
fn live(kind: ActKind) -> Program {
    live_with(vec![kind])
}

fn live_with(kinds: Vec<ActKind>) -> Program {
    let start = Builder::new()
        .step("WU-19")
        .set("supply", "on")
        .set("pilot_load", "state_C");
    kinds.into_iter().fold(start, Builder::act).build()
}

/// Verdict, words and side of the author's first step.
fn first_step(ran: &Ran) -> (Verdict, String, Option<Side>) {
    let ended = ran.events.iter().find_map(|(_, event)| match event {
        Event::StepEnded {
            step: 3,
            verdict,
            because,
            side,
        } => Some((*verdict, because.clone().unwrap_or_default(), *side)),
        _ => None,
    });
    ended.expect("the step ended")
}

fn stop(ran: &Ran) -> Option<StopCause> {
    ran.events.iter().find_map(|(_, event)| match event {
        Event::Stopped { by, .. } => Some(*by),
        _ => None,
    })
}

fn spoil(
    change: impl FnOnce(&mut Faults),
) -> impl FnOnce(&crate::fakes::World, &mut crate::fakes::FakeJournal, &mut crate::fakes::FakePeople) {
    move |world, _, _| change(&mut world.faults.borrow_mut())
}

fn answers(point: &str, datum: pilotage_core::Datum) -> impl FnOnce(&mut Faults) {
    let point = point.to_owned();
    move |faults| drop(faults.answers.insert(point, datum))
}

fn wait(point: &str, at_least: f64, inconclusive: bool) -> ActKind {
    ActKind::WaitFor(WaitSpec {
        condition: condition(point, at_least),
        every: ms(200),
        deadline: Duration::from_secs(5),
        name: "t_wait".to_owned(),
        limit: limit("in time", Tolerance::AtMost(seconds(5.0)), "s"),
        inconclusive,
        side: Some(Side::Settings),
        says: Some("waits for authorisation".to_owned()),
    })
}

fn condition(point: &str, at_least: f64) -> Condition {
    Condition {
        point: point.to_owned(),
        unit: "V".to_owned(),
        wanted: Wanted::Number(Tolerance::AtLeast(volts(at_least))),
    }
}

fn must_not(point: &str) -> ActKind {
    ActKind::MustNot(MustNotSpec {
        condition: condition(point, 30.0),
        length: Duration::from_secs(3),
        every: ms(100),
        name: "seen".to_owned(),
        limit: limit(
            "never",
            Tolerance::AtMost(Quantity::new(0.0, Dimension::NONE).unwrap()),
            "",
        ),
    })
}

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
fn a_wait_that_comes_is_an_interval_between_two_looks() {
    let program = live(wait("pilot.low", 8.0, false));
    let began = run_with(&program, |_, _, _| {}).reading("t_wait").taken.0;
    let comes = Duration::from_nanos(began.0) + ms(2345);
    let later = |faults: &mut Faults| drop(faults.later.insert("pilot.low".to_owned(), (comes, value(12.0, "V"))));
    let ran = run_with(&program, spoil(later));
    let reading = ran.reading("t_wait");
    let time = reading.value.unwrap();
    let came_s = 2.345;
    let Uncertainty::Known(terms) = &time.uncertainty else {
        panic!("an interval has a known uncertainty");
    };
    // Looks every 200 ms, each 2 ms long: the half width is 101 ms.
    assert!((terms[0].standard - 0.101 / 3f64.sqrt()).abs() < 2e-3, "{terms:?}");
    assert!(
        (time.value.si() - came_s).abs() <= 0.102,
        "{} {came_s}",
        time.value.si()
    );
    assert_eq!(first_step(&ran).0, Pass);
}

#[test]
fn a_wait_that_does_not_come_is_what_the_sequence_says() {
    let ran = run_with(&live(wait("pilot.low", 8.0, false)), |_, _, _| {});
    let (verdict, because, side) = first_step(&ran);
    assert_eq!((verdict, side), (Fail, Some(Side::Settings)));
    assert!(
        because.contains("waits for authorisation; pilot.low last read 0.01 V"),
        "{because}"
    );
    let ran = run_with(&live(wait("pilot.low", 8.0, true)), |_, _, _| {});
    assert_eq!((first_step(&ran).0, ran.outcome.exit_code), (Inconclusive, 3));
}

#[test]
fn a_wait_that_cannot_be_seen_blames_nobody() {
    for reason in [NoValue::NotANumber, NoValue::Overload] {
        let ran = run_with(
            &live(wait("pilot.low", 8.0, false)),
            spoil(answers("pilot.low", Err(reason.clone()))),
        );
        assert!(matches!(first_step(&ran).0, Error | Inconclusive), "{reason:?}");
    }
}

#[test]
fn what_must_not_come_fails_at_the_first_look_that_sees_it() {
    let ran = run_with(&live(must_not("pilot.low")), |_, _, _| {});
    assert_eq!(first_step(&ran).0, Pass);
    assert_eq!(ran.reading("seen").value.unwrap().value.si(), 0.0);
    let ran = run_with(&live(must_not(OUTPUT)), |_, _, _| {});
    assert_eq!((first_step(&ran).0, ran.outcome.exit_code), (Fail, 1));
    let seen = ran.reading("seen");
    assert!(
        seen.taken.1.since(seen.taken.0) < ms(10),
        "it does not stay live to be counted"
    );
    let ran = run_with(
        &live(must_not("pilot.low")),
        spoil(answers("pilot.low", Err(NoValue::NotANumber))),
    );
    assert_eq!(
        first_step(&ran).0,
        Error,
        "a look without a number has not seen that it stays away"
    );
}

#[test]
fn no_value_is_never_a_pass() {
    let wide = Tolerance::Between(volts(-1e9), volts(1e9));
    let reasons = [
        NoValue::NotANumber,
        NoValue::Overload,
        NoValue::Overflow,
        NoValue::TimedOut,
        NoValue::DivisionByZero,
        NoValue::Missing("stale".to_owned()),
        NoValue::Bench("mute".to_owned()),
    ];
    for rule in [DecisionRule::Simple, DecisionRule::GuardBanded] {
        for reason in &reasons {
            let acts = vec![
                ActKind::Read(vec![read("v", "pilot.low", "V")]),
                judge("v", wide.clone()),
            ];
            let mut program = live_with(acts);
            program.heading.decision_rule = rule;
            let ran = run_with(&program, spoil(answers("pilot.low", Err(reason.clone()))));
            assert!(matches!(first_step(&ran).0, Error | Inconclusive), "{reason:?}");
            assert_ne!(ran.outcome.exit_code, 0, "{reason:?}");
        }
    }
}

#[test]
fn a_reading_that_fails_leaves_a_reading_without_value_and_goes_on() {
    let acts = vec![
        ActKind::Read(vec![read("bad", "pilot.low", "V"), read("good", OUTPUT, "V")]),
        judge("good", Tolerance::AtLeast(volts(200.0))),
    ];
    let ran = run_with(
        &live_with(acts),
        spoil(|faults| faults.broken.extend(["pilot.low".to_owned()])),
    );
    let (verdict, because, side) = first_step(&ran);
    assert_eq!((verdict, side), (Error, Some(Side::Bench)));
    assert!(
        because.contains("pilot.low: expected an answer, got error -200"),
        "{because}"
    );
    assert!(ran.reading("bad").no_value.is_some() && ran.reading("good").value.is_some());
    assert_eq!((stop(&ran), ran.outcome.exit_code), (None, 5));
}

#[test]
fn a_lost_link_switches_the_supply_off_first() {
    let program = live(ActKind::Read(vec![read("bad", "pilot.low", "V")]));
    let ran = run_with(&program, |world, _, _| {
        world.faults.borrow_mut().broken.insert("pilot.low".to_owned());
        world.faults.borrow_mut().drain_fails_after_energised = true;
    });
    assert_eq!((stop(&ran), ran.outcome.exit_code), (Some(StopCause::Bench), 5));
    let sent = ran.world.sent();
    let live_at = sent.iter().rposition(|order| order == "pilot_load state_C").unwrap();
    assert_eq!(sent[live_at + 1], "supply off");
}

#[test]
fn a_setting_that_fails_while_live_stops_the_run() {
    let program = Builder::new()
        .step("WU-19")
        .set("supply", "on")
        .set("pilot_load.capacitance", "2.4 nF")
        .act(judge("after", Tolerance::AtMost(volts(1.0))))
        .build();
    let broken = "pilot_load.capacitance";
    let ran = run_with(&program, spoil(|faults| faults.broken.extend([broken.to_owned()])));
    assert_eq!((stop(&ran), ran.outcome.exit_code), (Some(StopCause::Bench), 5));
    assert_eq!(first_step(&ran).0, Error);
    assert!(!ran.names().contains(&"Judged".to_owned()) || first_step(&ran).0 == Error);
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

#[test]
fn what_settles_goes_on_and_what_does_not_is_inconclusive() {
    let settle = |deadline| {
        ActKind::Settle(SettleSpec {
            point: "ac_output[L].current".to_owned(),
            band: Quantity::of(0.2, Unit::find("A").unwrap()).unwrap(),
            dwell: ms(500),
            deadline,
        })
    };
    let judged = || judge("v", Tolerance::AtLeast(volts(200.0)));
    let reading = || ActKind::Read(vec![read("v", OUTPUT, "V")]);
    let ran = run_with(&live_with(vec![settle(ms(5000)), reading(), judged()]), |_, _, _| {});
    assert_eq!(first_step(&ran).0, Pass);
    let ran = run_with(&live_with(vec![settle(ms(300)), reading(), judged()]), |_, _, _| {});
    let (verdict, because, _) = first_step(&ran);
    assert_eq!(verdict, Inconclusive);
    assert!(because.contains("did not settle within ±200 mA in 300 ms"), "{because}");
}

#[test]
fn hands_are_wanted_only_in_isolation() {
    let ran = run_with(&live(ask_for_plate()), |_, _, _| {});
    assert_eq!(ran.outcome.exit_code, 5);
    assert!(
        first_step(&ran)
            .1
            .contains("hands are wanted at the item, but it is not isolated")
    );
    let program = Builder::new()
        .step("WU-19")
        .set("supply", "on")
        .set("pilot_load", "state_C")
        .isolate()
        .act(ask_for_plate())
        .build();
    let ran = run_with(&program, |_, _, _| {});
    assert_eq!((first_step(&ran).0, ran.outcome.exit_code), (Pass, 0));
    let states: Vec<EnergyState> = ran
        .events
        .iter()
        .filter_map(|(_, event)| match event {
            Event::EnergyChanged { to, .. } => Some(*to),
            _ => None,
        })
        .collect();
    assert!(
        states.ends_with(&[EnergyState::Live, EnergyState::OutputDead, EnergyState::Isolated]),
        "{states:?}"
    );
}

#[test]
fn an_answer_that_nobody_can_read_is_no_answer() {
    let unit = Sp {
        value: "A".to_owned(),
        span: span(),
    };
    let ask = ActKind::Ask(AskSpec {
        prompt: "Breaker rating?".to_owned(),
        answer: AnswerText::Quantity { unit },
        name: "breaker".to_owned(),
        hands: false,
        limit: None,
    });
    let run_answered = |answers: &[&str]| {
        run_with(&live(ask.clone()), |_, _, people| {
            people
                .answers
                .borrow_mut()
                .extend(answers.iter().rev().map(|answer| (*answer).to_owned()));
        })
    };
    let ran = run_answered(&["about forty", "40 V", "40"]);
    assert_eq!(ran.reading("breaker").value.unwrap().value.si(), 40.0);
    let ran = run_answered(&["forty", "many", "NaN"]);
    assert_eq!(ran.reading("breaker").value, None);
    assert_eq!(first_step(&ran).0, Inconclusive);
}

fn capture(during: Vec<Act>) -> ActKind {
    ActKind::Capture(CaptureSpec {
        name: "WU-19-1".to_owned(),
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
    assert_eq!(found.value.si(), 2750.0);
    assert!(
        matches!(found.uncertainty, Uncertainty::Unknown(_)),
        "as ordered, not measured"
    );
}

#[test]
fn a_step_that_does_not_apply_is_not_run_and_spoils_nothing() {
    let program = Builder::new()
        .step("WU-01")
        .act(ask_for_plate())
        .step("WU-70")
        .last(|step| step.skipped = Some("a tethered cable has no socket".to_owned()))
        .build();
    let ran = run_with(&program, |_, _, _| {});
    assert_eq!(
        ran.steps()[4],
        (
            NotRun,
            Some("does not apply: a tethered cable has no socket".to_owned())
        )
    );
    assert_eq!(ran.outcome.exit_code, 0);
}

#[test]
fn a_proof_of_the_stop_that_is_too_old_energises_nothing() {
    let mut program = live(ActKind::Hold(ms(10)));
    program.stop_proven_within = ms(100);
    let ran = run_with(&program, |_, _, _| {});
    assert_eq!(ran.outcome.exit_code, 5);
    assert!(first_step(&ran).1.contains("BC-11"), "{}", first_step(&ran).1);
    assert!(!ran.names().contains(&"Intent".to_owned()));
}

#[test]
fn orders_read_as_people_say_them() {
    let program = live(ActKind::Hold(ms(10)));
    let ran = run_with(&program, |_, _, _| {});
    let orders: Vec<String> = ran
        .events
        .iter()
        .filter_map(|(_, event)| match event {
            Event::Intent { order, .. } => Some(order.clone()),
            _ => None,
        })
        .collect();
    assert_eq!(orders, ["set supply to on", "set pilot_load to state_C"]);
    assert_eq!(order("supply", "on").point, "supply");
}
