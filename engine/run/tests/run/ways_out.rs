//! Every way out ends in make safe, read back, and in the right exit code.

use crate::fakes::{Tape, value};
use crate::program::{Builder, ask_for_plate, judge, whole};
use crate::recorder::{Ran, run_with};
use pilotage_core::{NoValue, Tolerance};
use pilotage_evidence::Event;
use pilotage_evidence::Verdict::{Error, Fail, Inconclusive, NotRun, Pass};
use pilotage_evidence::event::StopCause;
use pilotage_run::world::Purpose;
use std::time::Duration;

/// Orders of the two make safe plans, without waits and proofs.
const NORMAL: [&str; 4] = ["load.current 0", "pilot_load state_A", "supply off", "load off"];
const EMERGENCY: [&str; 4] = ["supply off", "pilot_load state_A", "load.current 0", "load off"];

fn is_plan(order: &str) -> bool {
    NORMAL.contains(&order)
}

/// The orders of make safe in a run, last plan only.
fn last_plan(ran: &Ran) -> Vec<String> {
    let sent: Vec<String> = ran.world.sent().into_iter().filter(|order| is_plan(order)).collect();
    sent[sent.len().saturating_sub(4)..].to_vec()
}

fn stop(ran: &Ran) -> Option<StopCause> {
    ran.events.iter().find_map(|(_, event)| match event {
        Event::Stopped { by, .. } => Some(*by),
        _ => None,
    })
}

fn made_safe_last(ran: &Ran) -> (bool, bool) {
    let made = ran.events.iter().rev().find_map(|(_, event)| match event {
        Event::MadeSafe {
            confirmed, emergency, ..
        } => Some((*confirmed, *emergency)),
        _ => None,
    });
    made.expect("a run makes safe")
}

#[test]
fn a_run_that_passes_is_green_and_dead() {
    let ran = run_with(&whole(), |_, _, _| {});
    let steps = ran.steps();
    assert_eq!(steps.len(), 6, "{steps:?}");
    assert!(
        steps
            .iter()
            .all(|(verdict, because)| *verdict == Pass && because.is_none()),
        "{steps:?}"
    );
    assert_eq!((ran.outcome.verdict, ran.outcome.exit_code), (Pass, 0));
    assert_eq!(ran.outcome.not_confirmed_dead, None);
    assert_eq!(ran.names().first().map(String::as_str), Some("RunStarted"));
    assert_eq!(ran.names().last().map(String::as_str), Some("RunEnded"));
    assert_eq!(made_safe_last(&ran), (true, false));
    assert_eq!(last_plan(&ran), NORMAL);
}

#[test]
fn the_sentence_says_what_was_measured() {
    let ran = run_with(&whole(), |_, _, _| {});
    let sentence = ran.events.iter().rev().find_map(|(_, event)| match event {
        Event::Dead(statement) => Some(statement.sentence.clone()),
        _ => None,
    });
    let sentence = sentence.expect("a run proves dead");
    assert!(sentence.starts_with("output measured dead at 10:00:"), "{sentence}");
    assert!(
        sentence.ends_with("L-N, L-PE and N-PE, AC and DC, meter proven before and after"),
        "{sentence}"
    );
}

#[test]
fn every_intent_is_synced_before_its_bytes() {
    let ran = run_with(&whole(), |_, _, _| {});
    let tape = ran.world.tape.borrow();
    let sent = |words: &str| {
        tape.iter()
            .position(|entry| matches!(entry, Tape::Sent(_, sent) if sent == words))
    };
    for energising in ["supply on", "pilot_load state_C"] {
        let at = sent(energising).expect("it was sent");
        let before = &tape[..at];
        let intent = before
            .iter()
            .rposition(|entry| *entry == Tape::Appended("Intent".to_owned()));
        let synced = before.iter().rposition(|entry| *entry == Tape::Synced);
        assert!(
            intent.is_some() && synced > intent,
            "{energising}: {intent:?} {synced:?}"
        );
        assert!(
            synced == Some(at - 1),
            "nothing stands between the sync and the bytes of {energising}"
        );
    }
}

#[test]
fn the_own_steps_stand_in_front() {
    let ran = run_with(&whole(), |_, _, _| {});
    let Event::RunStarted(heading) = &ran.events[0].1 else {
        panic!("the first event is the heading");
    };
    let listed: Vec<(u32, &str)> = heading
        .steps
        .iter()
        .map(|step| (step.number, step.id.as_str()))
        .collect();
    let wanted = [
        (0, "BC-01"),
        (1, "BC-02"),
        (2, "BC-11"),
        (3, "WU-01"),
        (4, "WU-19"),
        (5, "WU-21"),
    ];
    assert_eq!(listed, wanted);
    assert_eq!(heading.run, "scripted");
}

#[test]
fn a_full_disk_at_any_append_ends_in_all_orders_of_make_safe() {
    let program = whole();
    let total = run_with(&program, |_, _, _| {}).appends;
    assert!(total > 60, "a whole run appends much: {total}");
    for index in 0..total {
        let ran = run_with(&program, |_, journal, _| journal.fails_from = Some(index));
        assert_eq!(ran.outcome.exit_code, 5, "append {index}");
        assert_eq!(ran.outcome.verdict, Error, "append {index}");
        assert_eq!(last_plan(&ran), NORMAL, "append {index}");
        assert_eq!(
            ran.outcome.not_confirmed_dead, None,
            "append {index}: it was measured dead all the same"
        );
    }
}

#[test]
fn a_disk_that_does_not_sync_energises_nothing() {
    let ran = run_with(&whole(), |_, journal, _| journal.syncs = false);
    assert_eq!((ran.outcome.exit_code, ran.outcome.verdict), (5, Error));
    assert!(!ran.world.sent().contains(&"supply on".to_owned()));
    assert_eq!(last_plan(&ran), NORMAL);
}

#[test]
fn a_person_stops_the_run_at_any_time() {
    let program = whole();
    for tenths in 0..200 {
        let at = Duration::from_millis(100 * tenths);
        let ran = run_with(&program, |_, _, people| people.stops_at = Some(at));
        if ran.outcome.exit_code == 0 {
            assert!(at > Duration::from_secs(10), "it ended before {at:?}");
            continue;
        }
        assert_eq!(ran.outcome.exit_code, 4, "at {at:?}");
        assert_eq!(stop(&ran), Some(StopCause::Person), "at {at:?}");
        assert_eq!(last_plan(&ran), NORMAL, "at {at:?}");
        assert_eq!(ran.steps().len(), 6, "every step ends, at {at:?}");
    }
}

#[test]
fn a_refused_question_or_caution_stops_before_anything_is_energised() {
    for purpose in [
        Purpose::LockIsolator,
        Purpose::OpenEnclosure,
        Purpose::PressStop,
        Purpose::UnlockIsolator,
    ] {
        let ran = run_with(&whole(), |_, _, people| people.refuses = Some(purpose));
        assert_eq!(
            (ran.outcome.exit_code, stop(&ran)),
            (4, Some(StopCause::Person)),
            "{purpose:?}"
        );
        assert!(!ran.names().contains(&"Intent".to_owned()), "{purpose:?}");
    }
    let ran = run_with(&whole(), |_, _, people| people.acknowledges = false);
    assert_eq!((ran.outcome.exit_code, stop(&ran)), (4, Some(StopCause::Person)));
    assert!(!ran.names().contains(&"Intent".to_owned()));
}

#[test]
fn a_stranger_among_the_instruments_energises_nothing() {
    let ran = run_with(&whole(), |world, _, _| world.faults.borrow_mut().stranger = true);
    assert_eq!(ran.outcome.exit_code, 5);
    let steps = ran.steps();
    assert_eq!(steps[0].0, Error);
    assert!(steps[1..].iter().all(|(verdict, _)| *verdict == NotRun), "{steps:?}");
    assert!(!ran.names().contains(&"Intent".to_owned()));
}

#[test]
fn a_fail_in_isolation_withholds_every_permit() {
    let program = Builder::new()
        .step("WU-01")
        .act(ask_for_plate())
        .step("WU-04")
        .act(ask_for_plate())
        .step("WU-19")
        .set("supply", "on")
        .build();
    let ran = run_with(&program, |_, _, people| {
        people.answers.borrow_mut().extend(["yes".to_owned(), "no".to_owned()]);
    });
    let verdicts: Vec<_> = ran.steps().into_iter().map(|(verdict, _)| verdict).collect();
    assert_eq!(verdicts, [Pass, Pass, Pass, Fail, Pass, NotRun]);
    assert_eq!(
        (ran.outcome.exit_code, stop(&ran)),
        (1, Some(StopCause::IsolatedStepFailed))
    );
    assert!(!ran.names().contains(&"Intent".to_owned()));
    assert!(!ran.world.sent().contains(&"supply on".to_owned()));
}

#[test]
fn a_fail_while_live_goes_on() {
    let program = Builder::new()
        .step("WU-19")
        .set("supply", "on")
        .set("pilot_load", "state_C")
        .act(judge("never_taken", Tolerance::AtMost(crate::fakes::volts(1.0))))
        .step("WU-21")
        .set("pilot_load", "state_B")
        .prove_dead()
        .build();
    let ran = run_with(&program, |_, _, _| {});
    let verdicts: Vec<_> = ran.steps().into_iter().map(|(verdict, _)| verdict).collect();
    assert_eq!(verdicts[3..], [Inconclusive, Pass]);
    assert_eq!(ran.outcome.exit_code, 3);
}

#[test]
fn a_welded_contactor_stops_the_run_and_dead_is_reached_by_the_supply() {
    let ran = run_with(&whole(), |world, _, _| world.faults.borrow_mut().welded = true);
    assert_eq!(stop(&ran), Some(StopCause::NotDead));
    assert_eq!(ran.outcome.exit_code, 1);
    assert_eq!(ran.steps()[5].0, Fail);
    assert_eq!(last_plan(&ran), EMERGENCY);
    assert_eq!(made_safe_last(&ran), (true, true));
}

#[test]
fn an_unproven_meter_is_never_dead() {
    let readings = [
        value(12.0, "V"),
        // Also with the reference off: the meter holds what it read before.
        value(50.0, "V"),
        Err(NoValue::NotANumber),
        Err(NoValue::Overload),
        Err(NoValue::TimedOut),
    ];
    for point in ["reference.voltage", "reference.dc_voltage"] {
        for reading in &readings {
            let ran = run_with(&whole(), |world, _, _| {
                world
                    .faults
                    .borrow_mut()
                    .answers
                    .insert(point.to_owned(), reading.clone());
            });
            let dead = ran
                .events
                .iter()
                .filter(|(_, event)| matches!(event, Event::Dead(said) if said.dead));
            assert_eq!(dead.count(), 0, "{point} {reading:?}");
            assert_eq!(ran.outcome.exit_code, 6, "{point} {reading:?}");
            assert!(
                ran.outcome.codes.contains(&5) && !ran.outcome.codes.contains(&1),
                "{:?}",
                ran.outcome.codes
            );
            let said = ran.outcome.not_confirmed_dead.expect("it is said first");
            assert!(said.starts_with("NOT CONFIRMED DEAD. Press red button S1."), "{said}");
        }
    }
}

#[test]
fn a_pair_without_a_number_is_never_dead() {
    for point in ["ac_output[N-PE].voltage", "ac_output[L-PE].dc_voltage"] {
        for reason in [
            NoValue::NotANumber,
            NoValue::Overload,
            NoValue::Bench("mute".to_owned()),
        ] {
            let ran = run_with(&whole(), |world, _, _| {
                world
                    .faults
                    .borrow_mut()
                    .answers
                    .insert(point.to_owned(), Err(reason.clone()));
            });
            assert_eq!(ran.outcome.exit_code, 6, "{point} {reason:?}");
            assert!(!ran.names().contains(&"Intent".to_owned()), "{point} {reason:?}");
        }
    }
}

#[test]
fn an_output_that_stays_live_is_said_first() {
    let ran = run_with(&whole(), |world, _, _| {
        let live = value(231.0, "V");
        world
            .faults
            .borrow_mut()
            .answers
            .insert("ac_output[L-PE].voltage".to_owned(), live);
    });
    assert_eq!(ran.outcome.exit_code, 6);
    let said = ran.outcome.not_confirmed_dead.expect("it is said first");
    assert!(
        said.starts_with("LIVE: L-PE reads 231 V AC. Do not touch. Press red button S1."),
        "{said}"
    );
}

#[test]
fn an_order_that_fails_does_not_keep_the_others_from_being_sent() {
    for broken in ["load.current", "supply", "pilot_load", "load"] {
        let ran = run_with(&whole(), |world, _, _| {
            world.faults.borrow_mut().broken.insert(broken.to_owned());
        });
        let mut sent = last_plan(&ran);
        sent.sort();
        let mut wanted = NORMAL;
        wanted.sort_unstable();
        assert_eq!(sent, wanted, "{broken}");
        assert_eq!(ran.outcome.exit_code, 6, "{broken} was not confirmed");
    }
}

#[test]
fn a_panic_ends_in_make_safe() {
    let ran = run_with(&whole(), |world, _, _| {
        world.faults.borrow_mut().panics = Some("pilot.high".to_owned());
    });
    assert_eq!(ran.outcome.exit_code, 0, "nothing reads it in this program");
    let program = Builder::new()
        .step("WU-19")
        .set("supply", "on")
        .set("pilot_load", "state_C")
        .act(pilotage_plan::program::ActKind::Read(vec![crate::program::read(
            "v",
            "pilot.high",
            "V",
        )]))
        .build();
    let ran = run_with(&program, |world, _, _| {
        world.faults.borrow_mut().panics = Some("pilot.high".to_owned());
    });
    assert_eq!((ran.outcome.exit_code, stop(&ran)), (5, Some(StopCause::Bench)));
    assert_eq!(last_plan(&ran), EMERGENCY);
    assert_eq!(made_safe_last(&ran), (true, true));
}

#[test]
fn a_stop_that_does_not_work_withholds_every_permit() {
    type Spoil = fn(&mut crate::fakes::Faults);
    let spoils: [(&str, Spoil); 4] = [
        ("input stuck closed", |f| {
            drop(f.words.insert("enclosure".to_owned(), "closed".to_owned()));
        }),
        ("input stuck ready", |f| {
            drop(f.words.insert("hard_wired_stop".to_owned(), "ready".to_owned()));
        }),
        ("contactor stuck", |f| f.contactor_stuck = true),
        ("contactor input stuck open", |f| {
            drop(f.words.insert("supply_contactor".to_owned(), "open".to_owned()));
        }),
    ];
    for (what, spoil) in spoils {
        let ran = run_with(&whole(), |world, _, _| spoil(&mut world.faults.borrow_mut()));
        assert_eq!(ran.outcome.exit_code, 5, "{what}");
        assert_eq!(ran.steps()[2].0, Error, "{what}");
        assert!(!ran.names().contains(&"Intent".to_owned()), "{what}");
    }
}
