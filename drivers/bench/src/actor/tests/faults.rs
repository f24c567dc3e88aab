//! Seeded faults: whatever happens to replies, no wrong value is ever taken.

use super::{SECOND, WORK, ask, ms};
use crate::actor::{Handle, Message};
use crate::link::{AtOnce, Fault, FaultPlan, Faults, MemoryLink, TcpLink, Trace};
use crate::testing::{Desk, TestClock, really, serve, virtually};
use std::collections::BTreeSet;
use std::time::Duration;

fn all_faults() -> Vec<Fault> {
    let delays = [20, 300].map(|late| Fault::Delay(Duration::from_millis(late)));
    [&delays[..], &Fault::WITHOUT_DELAY].concat()
}

fn plan(seed: u64, one_in: u64, kinds: &[Fault]) -> FaultPlan {
    FaultPlan {
        seed,
        one_in,
        spare_first: 1,
        kinds: kinds.to_vec(),
    }
}

/// Asks 40 questions with 40 different answers. Gives how many were answered; a wrong one ends the test.
async fn answered_rightly(handle: &Handle, what: &str) -> usize {
    let mut right = 0;
    for number in 1000..1040 {
        let text = format!("MEASure:ECHO? {number}");
        let Ok((done, _)) = handle.exchange(WORK, Message::query(text.as_str(), ms(100))).await else {
            continue;
        };
        match crate::scpi::Reply::parse(&done.reply).and_then(|reply| reply.number()) {
            Ok(crate::scpi::Number::Value(value)) => {
                assert_eq!(value, f64::from(number), "{what}: a wrong value was taken");
                right += 1;
            }
            Ok(other) => panic!("{what}: {other:?}"),
            Err(_) => handle.distrust(),
        }
    }
    right
}

#[test]
fn no_fault_ever_gives_a_wrong_value_in_memory() {
    for kind in all_faults() {
        let mut answers = BTreeSet::new();
        for (seed, one_in) in (0..60).map(|seed| (seed, 1 + seed % 7)) {
            let right = virtually(async {
                let clock = TestClock::start();
                let link = MemoryLink::new(Box::new(AtOnce::new(Desk::new())), clock.reader());
                let link = Faults::new(link, plan(seed, one_in, &[kind]));
                let handle = Handle::new("desk", Box::new(link), clock.reader(), SECOND);
                ask(&handle, "*IDN?", SECOND).await.unwrap();
                answered_rightly(&handle, &format!("{kind:?} seed {seed}")).await
            });
            answers.insert(right);
        }
        assert!(
            answers.last().is_some_and(|most| *most > 20),
            "{kind:?}: hardly anything was answered: {answers:?}"
        );
        let harmless = kind == Fault::Delay(ms(20));
        assert_eq!(
            answers.first() == Some(&40),
            harmless,
            "{kind:?} must show in some of the answers: {answers:?}"
        );
    }
}

#[test]
fn no_mix_of_faults_gives_a_wrong_value_in_memory() {
    for seed in 0..150 {
        virtually(async {
            let clock = TestClock::start();
            let link = MemoryLink::new(Box::new(AtOnce::new(Desk::new())), clock.reader());
            let link = Faults::new(link, plan(seed, 4, &all_faults()));
            let handle = Handle::new("desk", Box::new(link), clock.reader(), SECOND);
            ask(&handle, "*IDN?", SECOND).await.unwrap();
            answered_rightly(&handle, &format!("seed {seed}")).await
        });
    }
}

#[test]
fn no_fault_ever_gives_a_wrong_value_over_tcp() {
    let kinds = [
        Fault::Truncate,
        Fault::Duplicate,
        Fault::OneLate,
        Fault::Garbage,
        Fault::Close,
        Fault::Delay(ms(2)),
    ];
    really(async {
        let served = serve(Desk::new());
        for seed in 0..6 {
            let clock = TestClock::start();
            let link = TcpLink::open("127.0.0.1", served.port, SECOND).await.unwrap();
            let link = Faults::new(link, plan(seed, 8, &kinds));
            let handle = Handle::new("desk", Box::new(link), clock.reader(), SECOND);
            ask(&handle, "*IDN?", SECOND).await.unwrap();
            let right = answered_rightly(&handle, &format!("seed {seed}")).await;
            assert!(right > 10, "seed {seed}: only {right} answered");
        }
    });
}

#[test]
fn the_same_seed_gives_the_same_bytes_at_the_same_times() {
    let run = || {
        virtually(async {
            let clock = TestClock::start();
            let link = MemoryLink::new(Box::new(AtOnce::new(Desk::new())), clock.reader());
            let link = Faults::new(link, plan(11, 3, &all_faults()));
            let (link, tape) = Trace::new(link, clock.reader());
            let handle = Handle::new("desk", Box::new(link), clock.reader(), SECOND);
            ask(&handle, "*IDN?", SECOND).await.unwrap();
            answered_rightly(&handle, "seed 11").await;
            tape.to_text()
        })
    };
    assert_eq!(run(), run());
}
