//! Interlocks and protections trip in time, and the supply goes off first.

use crate::fakes::{EXCHANGE, Tape, value};
use crate::program::{EVERY, whole};
use crate::recorder::{Ran, run_with};
use pilotage_core::{NoValue, RunTime};
use pilotage_evidence::Event;
use pilotage_evidence::event::StopCause;
use std::time::Duration;

/// A moment in the hold of the whole program.
fn mid_hold() -> Duration {
    let ran = run_with(&whole(), |_, _, _| {});
    let at = ran.world.tape.borrow().iter().find_map(|entry| match entry {
        Tape::Sent(at, words) if words == "pilot_load state_C" => Some(*at),
        _ => None,
    });
    Duration::from_nanos(at.unwrap().0) + Duration::from_millis(3_217)
}

/// The first order after some moment.
fn first_order_after(ran: &Ran, moment: Duration) -> (RunTime, String) {
    let tape = ran.world.tape.borrow();
    let after = tape.iter().find_map(|entry| match entry {
        Tape::Sent(at, words) if *at >= RunTime::START.plus(moment) => Some((*at, words.clone())),
        _ => None,
    });
    after.expect("make safe sends orders")
}

fn stop(ran: &Ran) -> Option<(StopCause, String)> {
    ran.events.iter().find_map(|(_, event)| match event {
        Event::Stopped { by, why } => Some((*by, why.clone())),
        _ => None,
    })
}

#[test]
fn an_opened_enclosure_switches_the_supply_off_first_and_in_time() {
    let opens = mid_hold();
    for offset_ms in 0..60 {
        let opens = opens + Duration::from_millis(offset_ms);
        let ran = run_with(&whole(), |world, _, _| world.faults.borrow_mut().opens_at = Some(opens));
        let (at, order) = first_order_after(&ran, opens);
        assert_eq!(order, "supply off");
        let took = at.since(RunTime::START.plus(opens));
        assert!(took <= EVERY + EXCHANGE, "{took:?}");
        assert_eq!(ran.outcome.exit_code, 4);
        let (by, why) = stop(&ran).unwrap();
        assert_eq!(by, StopCause::Interlock);
        assert_eq!(why, "enclosure: reads open, must be closed");
    }
}

#[test]
fn a_missed_check_trips() {
    let from = mid_hold();
    let ran = run_with(&whole(), |world, _, _| {
        let mut faults = world.faults.borrow_mut();
        faults.mute.insert("enclosure".to_owned());
        faults.mute_from = Some(from);
    });
    let (at, order) = first_order_after(&ran, from);
    assert_eq!(order, "supply off");
    let took = at.since(RunTime::START.plus(from));
    assert!(took <= 2 * EVERY + EXCHANGE, "{took:?}");
    let (by, why) = stop(&ran).unwrap();
    assert_eq!(
        (by, why.as_str()),
        (StopCause::Interlock, "enclosure: missed check: no answer within 50 ms")
    );
}

#[test]
fn a_hot_terminal_or_one_without_a_value_trips() {
    for reading in [value(95.0, "°C"), Err(NoValue::NotANumber), Err(NoValue::Overload)] {
        let ran = run_with(&whole(), |world, _, _| {
            world
                .faults
                .borrow_mut()
                .answers
                .insert("terminal.temperature".to_owned(), reading.clone());
        });
        assert_eq!(stop(&ran).unwrap().0, StopCause::Protection, "{reading:?}");
        assert_eq!(ran.outcome.exit_code, 4);
        let intents = ran.names().iter().filter(|name| *name == "Intent").count();
        assert_eq!(intents, 0, "found before the first permit");
    }
}

#[test]
fn a_trip_is_journaled_with_the_guards_own_event() {
    let opens = mid_hold();
    let ran = run_with(&whole(), |world, _, _| world.faults.borrow_mut().opens_at = Some(opens));
    let names = ran.names();
    let trip = names.iter().rposition(|name| name == "Interlock").unwrap();
    assert_eq!(names[trip + 1], "Stopped");
    assert!(
        matches!(&ran.events[trip].1, Event::Interlock { held: false, name, checks, .. }
        if name == "enclosure" && *checks > 50)
    );
}

#[test]
fn guards_that_held_are_counted() {
    let ran = run_with(&whole(), |_, _, _| {});
    let checks = ran.events.iter().find_map(|(_, event)| match event {
        Event::Interlock { held: true, checks, .. } => Some(*checks),
        _ => None,
    });
    // 10 s of hold at 50 ms, and what comes before it.
    assert!(checks.unwrap() >= 200, "{checks:?}");
    let detail = ran.events.iter().find_map(|(_, event)| match event {
        Event::Protection { held: true, detail, .. } => Some(detail.clone()),
        _ => None,
    });
    assert_eq!(detail.as_deref(), Some("always 40 °C"));
}

#[test]
fn nothing_is_energised_after_a_trip() {
    let opens = mid_hold();
    let ran = run_with(&whole(), |world, _, _| world.faults.borrow_mut().opens_at = Some(opens));
    let tape = ran.world.tape.borrow();
    let late = tape.iter().any(|entry| {
        matches!(entry, Tape::Sent(at, words) if *at >= RunTime::START.plus(opens)
            && (words == "supply on" || words == "pilot_load state_C" || words == "load on"))
    });
    assert!(!late);
}

#[test]
fn a_program_that_stood_still_trips() {
    let at = mid_hold();
    for (still_ms, trips) in [(1500, false), (2500, true)] {
        let span = Duration::from_millis(still_ms);
        let ran = run_with(&whole(), |world, _, _| {
            world.faults.borrow_mut().stands_still = Some((at, span));
        });
        match stop(&ran) {
            Some((by, why)) => {
                assert_eq!(by, StopCause::Interlock, "{why}");
                assert!(trips || why.contains("missed check"), "{why}");
            }
            None => assert!(!trips, "{span:?}"),
        }
    }
}

#[test]
fn a_wall_clock_that_jumps_trips() {
    let at = mid_hold();
    for (jump_ms, trips) in [(1900, false), (2100, true)] {
        let by = Duration::from_millis(jump_ms);
        let ran = run_with(&whole(), |world, _, _| {
            world.faults.borrow_mut().wall_jumps = Some((at, by));
        });
        let stopped = stop(&ran);
        assert_eq!(stopped.is_some(), trips, "{stopped:?}");
        if let Some((by, why)) = stopped {
            assert_eq!(by, StopCause::Interlock);
            assert_eq!(why, "clock: a gap of 2.1 s in which nothing was watched");
            assert_eq!(first_order_after(&ran, at).1, "supply off");
        }
    }
}

/// What sends by itself on a bench hears from the runner at least every half second, from the first question to the end of make safe; not
/// while the program stands still.
#[test]
fn the_runner_shows_life_while_it_gets_its_turns() {
    let gaps = |ran: &Ran| {
        let mut moments = vec![RunTime::START];
        moments.extend(ran.world.alive.borrow().iter().copied());
        moments.extend(ran.events.last().map(|(at, _)| *at));
        let gaps = moments.windows(2).map(|pair| pair[1].since(pair[0]));
        gaps.max().unwrap()
    };
    let ran = run_with(&whole(), |_, _, _| {});
    assert!(ran.world.alive.borrow().len() > 20, "{:?}", ran.world.alive.borrow());
    assert!(gaps(&ran) <= Duration::from_millis(502), "{:?}", gaps(&ran));
    let pause = (mid_hold(), Duration::from_secs(3));
    let ran = run_with(&whole(), |world, _, _| {
        world.faults.borrow_mut().stands_still = Some(pause);
    });
    assert!(gaps(&ran) >= Duration::from_secs(3), "{:?}", gaps(&ran));
    assert_eq!(stop(&ran).map(|(by, _)| by), Some(StopCause::Interlock));
}
