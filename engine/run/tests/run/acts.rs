//! Each kind of act: what it reads, judges and says, and what it does when the bench does not answer.

use crate::fakes::{Faults, value, volts};
use crate::program::{Builder, ask_for_plate, judge, limit, order, read};
use crate::recorder::{Ran, run_proven, run_with};
use pilotage_core::{Dimension, NoValue, Quantity, Tolerance, Uncertainty, Unit};
use pilotage_evidence::Verdict::{self, Error, Fail, Inconclusive, NotRun, Pass};
use pilotage_evidence::event::StopCause;
use pilotage_evidence::{DecisionRule, EnergyState, Event, Side};
use pilotage_plan::program::{ActKind, Condition, MustNotSpec, Program, SettleSpec, WaitSpec, Wanted};
use pilotage_run::StopProof;
use pilotage_run::world::Queues;
use std::time::Duration;

const OUTPUT: &str = "ac_output[L-N].voltage";

fn seconds(s: f64) -> Quantity {
    Quantity::new(s, Dimension::TIME).unwrap()
}

pub(crate) fn ms(ms: u64) -> Duration {
    Duration::from_millis(ms)
}

/// Goes live, does the act, and ends dead.
pub(crate) fn live(kind: ActKind) -> Program {
    live_with(vec![kind])
}

pub(crate) fn live_with(kinds: Vec<ActKind>) -> Program {
    let start = Builder::new()
        .step("WU-19")
        .set("supply", "on")
        .set("pilot_load", "state_C");
    kinds.into_iter().fold(start, Builder::act).build()
}

/// Verdict, words and side of the author's first step.
pub(crate) fn first_step(ran: &Ran) -> (Verdict, String, Option<Side>) {
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
) -> impl FnOnce(&crate::fakes::World, &mut crate::recorder::FakeJournal, &mut crate::recorder::FakePeople) {
    move |world, _, _| change(&mut world.faults.borrow_mut())
}

fn answers(point: &str, datum: pilotage_core::Datum) -> impl FnOnce(&mut Faults) {
    let point = point.to_owned();
    move |faults| drop(faults.answers.insert(point, datum))
}

pub(crate) fn wait(point: &str, at_least: f64, inconclusive: bool) -> ActKind {
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

pub(crate) fn must_not(point: &str) -> ActKind {
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

/// The longest time that a wait can have taken, s, and the source of what it did not see.
fn longest(ran: &Ran, name: &str) -> (f64, String) {
    let time = ran.reading(name).value.unwrap();
    let Uncertainty::Known(terms) = &time.uncertainty else {
        panic!("an interval has a known uncertainty");
    };
    (
        time.value.si() + 3f64.sqrt() * terms[0].standard,
        terms[0].source.clone(),
    )
}

/// What an order does begins when it is sent, however long it takes to look elsewhere first; what comes after a pause has a beginning of its
/// own. Two waits do not know of each other.
#[test]
fn a_wait_counts_from_the_orders_before_it() {
    let there = |faults: &mut Faults| drop(faults.answers.insert("pilot.low".to_owned(), value(12.0, "V")));
    let glances = || (0..50).map(|_| ActKind::Read(vec![read("v_high", "pilot.high", "V")]));
    let named = |name: &str| match wait("pilot.low", 8.0, false) {
        ActKind::WaitFor(spec) => ActKind::WaitFor(WaitSpec {
            name: name.to_owned(),
            ..spec
        }),
        other => other,
    };
    let looked_elsewhere = live_with(glances().chain([named("t_first"), named("t_second")]).collect());
    let ran = run_with(&looked_elsewhere, spoil(there));
    let ((first_s, first), (second_s, second)) = (longest(&ran, "t_first"), longest(&ran, "t_second"));
    assert!(first_s > 0.1 && second_s > first_s, "{first_s} {second_s}");
    assert_ne!(first, second);
    let paused = live_with(glances().chain([ActKind::Hold(ms(100)), named("t_first")]).collect());
    let (paused_s, _) = longest(&run_with(&paused, spoil(there)), "t_first");
    assert!(paused_s < 0.01, "{paused_s}");
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
    assert_eq!(
        ran.reading("seen").value.unwrap().value,
        Quantity::new(0.0, Dimension::NONE).unwrap()
    );
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

/// A bad bench is not a bad item, in whichever step its limit stands.
#[test]
fn a_limit_of_the_bench_that_is_not_met_is_an_error_of_the_bench() {
    for (key, wanted) in [
        ("bench.angle", (Error, Some(Side::Bench), 5)),
        ("benchmark", (Fail, None, 1)),
    ] {
        let mut demand = judge("v", Tolerance::AtLeast(volts(1e6)));
        if let ActKind::Judge(specs) = &mut demand {
            key.clone_into(&mut specs[0].limits[0].key);
        }
        let acts = vec![ActKind::Read(vec![read("v", OUTPUT, "V")]), demand];
        let ran = run_with(&live_with(acts), |_, _, _| {});
        let (verdict, _, side) = first_step(&ran);
        assert_eq!((verdict, side, ran.outcome.exit_code), wanted, "{key}");
        assert_eq!(verdicts_journalled(&ran), [verdict], "{key}: journal and step agree");
    }
}

/// In a step that looks at the bench every limit is a demand on it, whatever its key.
#[test]
fn no_reading_of_a_step_that_looks_at_the_bench_reads_as_a_fail() {
    let acts = vec![
        ActKind::Read(vec![read("v", OUTPUT, "V")]),
        judge("v", Tolerance::AtLeast(volts(1e6))),
    ];
    let mut program = live_with(acts);
    program.steps[0].fail_side = Some(Side::Bench);
    let ran = run_with(&program, |_, _, _| {});
    assert_eq!((first_step(&ran).0, ran.outcome.exit_code), (Error, 5));
    assert_eq!(verdicts_journalled(&ran), [Error]);
}

fn verdicts_journalled(ran: &Ran) -> Vec<pilotage_evidence::Verdict> {
    let judged = ran.events.iter().filter_map(|(_, event)| match event {
        Event::Judged(judgement) if judgement.name == "v" => Some(judgement.verdict),
        _ => None,
    });
    judged.collect()
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
fn errors_left_in_a_queue_are_the_benchs_and_go_on() {
    let program = live_with(vec![
        ActKind::Read(vec![read("v", OUTPUT, "V")]),
        judge("v", Tolerance::AtLeast(volts(200.0))),
    ]);
    let ran = run_with(&program, spoil(|faults| faults.queue_holds_errors = true));
    let (verdict, _, side) = first_step(&ran);
    assert_eq!((verdict, side), (Error, Some(Side::Bench)));
    assert_eq!((stop(&ran), ran.outcome.exit_code), (None, 5));
}

#[test]
fn error_queues_are_looked_at_after_every_act_and_every_step() {
    let program = live(ActKind::Read(vec![read("v", OUTPUT, "V")]));
    let ran = run_with(&program, |_, _, _| {});
    let acts: usize = program.steps.iter().map(|step| step.acts.len()).sum();
    let drains = ran.world.drains.borrow();
    let times = |queues| drains.iter().filter(|drained| **drained == queues).count();
    assert_eq!(times(Queues::OfAct), acts);
    // Every step of the author, and the proof that the queues are empty at the start (BC-02).
    assert_eq!(times(Queues::OfStep), program.steps.len() + 1);
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
fn what_settles_goes_on_and_what_does_not_is_inconclusive() {
    let settle = |deadline| {
        ActKind::Settle(SettleSpec {
            along: None,
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

#[test]
fn a_fresh_proof_of_the_stop_is_said_and_not_repeated() {
    let fresh = |hours| StopProof::Fresh {
        said: "proven in record 7".to_owned(),
        age: Duration::from_hours(hours),
    };
    let program = live(ActKind::Hold(ms(10)));
    let ran = run_proven(&program, fresh(11), |_, _, _| {});
    let Event::RunStarted(heading) = &ran.events[0].1 else {
        panic!("the first event is the heading");
    };
    assert!(
        heading
            .bench
            .notes
            .iter()
            .any(|note| note.ends_with("proven in record 7")),
        "{:?}",
        heading.bench.notes
    );
    let pressed = ran
        .events
        .iter()
        .any(|(_, event)| matches!(event, Event::Asked { prompt, .. } if prompt.starts_with("Press")));
    assert!(!pressed);
    assert!(ran.names().contains(&"Intent".to_owned()));
    let ran = run_proven(&program, fresh(13), |_, _, _| {});
    assert!(
        !ran.names().contains(&"Intent".to_owned()),
        "12 h are the program's longest"
    );
}
