//! The stalls and wrong answers that users of other tools report, each provoked; on real sockets and on a paused clock.

#![allow(clippy::unwrap_used, clippy::float_cmp)]

use super::{Handle, Message};
use crate::link::{
    AtOnce, Fault, FaultPlan, Faults, Link, LinkError, MemoryLink, Playback, Simple, Tape, TcpLink, Trace,
};
use crate::testing::{Desk, Prank, Served, TestClock, really, serve, virtually};
use pilotage_core::RunTime;
use pilotage_run::permit::Withheld;
use pilotage_run::world::{BenchError, Lane};
use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;

const SECOND: Duration = Duration::from_secs(1);
const WORK: Lane = Lane::Work;

fn ms(count: u64) -> Duration {
    Duration::from_millis(count)
}

async fn over_tcp(served: &Served, clock: &Arc<TestClock>) -> Handle {
    let link = TcpLink::open("127.0.0.1", served.port, SECOND).await.unwrap();
    let handle = Handle::start("desk", Box::new(link), clock.reader(), SECOND);
    ask(&handle, "*IDN?", SECOND).await.unwrap();
    handle
}

fn in_memory(device: impl Simple + 'static, clock: &Arc<TestClock>) -> (Handle, Tape) {
    let link = MemoryLink::new(Box::new(AtOnce::new(device)), clock.reader());
    let (link, tape) = Trace::new(link, clock.reader());
    (Handle::start("desk", Box::new(link), clock.reader(), SECOND), tape)
}

async fn ask(handle: &Handle, text: &str, deadline: Duration) -> Result<String, BenchError> {
    let (done, _) = handle.exchange(WORK, Message::query(text, deadline)).await?;
    Ok(String::from_utf8(done.reply).unwrap())
}

#[test]
fn set_set_measure_does_not_stall() {
    really(async {
        let served = serve(Desk::new());
        let clock = TestClock::start();
        let handle = over_tcp(&served, &clock).await;
        let mut spans = Vec::new();
        for round in 0..200 {
            let began = std::time::Instant::now();
            handle
                .exchange(WORK, Message::write("CURRent 1", SECOND))
                .await
                .unwrap();
            handle.exchange(WORK, Message::write("INPut ON", SECOND)).await.unwrap();
            assert_eq!(
                ask(&handle, &format!("MEASure:ECHO? {round}"), SECOND).await.unwrap(),
                round.to_string()
            );
            spans.push(began.elapsed());
        }
        spans.sort();
        // With Nagle's algorithm and a delayed acknowledgement each round takes 40 ms.
        assert!(spans[100] < ms(10), "median {:?}", spans[100]);
    });
}

#[test]
fn a_late_answer_is_not_taken_over_tcp() {
    really(async {
        let served = serve(Desk::new());
        let clock = TestClock::start();
        let handle = over_tcp(&served, &clock).await;
        served.pranks.lock().unwrap().push_back(Prank::Late(ms(150)));
        let error = ask(&handle, "MEASure:ECHO? 1", ms(50)).await.unwrap_err();
        assert_eq!(error.trouble.got, "no reply in time");
        assert_eq!(error.trouble.command, "MEASure:ECHO? 1");
        tokio::time::sleep(ms(200)).await;
        let (done, exchanges) = handle
            .exchange(WORK, Message::query("MEASure:ECHO? 2", SECOND))
            .await
            .unwrap();
        assert_eq!(done.reply, b"2");
        let sent: Vec<&str> = exchanges.iter().map(|exchange| exchange.sent.as_str()).collect();
        assert_eq!(
            sent,
            ["", "*IDN?", "MEASure:ECHO? 2"],
            "the identity is checked before anything else"
        );
        assert_eq!(
            exchanges[0].received.as_deref(),
            Some("1\\x0A"),
            "the late reply is kept, as asked by nothing"
        );
    });
}

#[test]
fn a_late_answer_is_not_taken_in_memory() {
    virtually(async {
        let clock = TestClock::start();
        let mut desk = Desk::new();
        desk.slow.insert("MEASure:ECHO? 1".to_owned(), ms(500));
        let (handle, _) = in_memory(desk, &clock);
        ask(&handle, "*IDN?", SECOND).await.unwrap();
        ask(&handle, "MEASure:ECHO? 1", ms(100)).await.unwrap_err();
        let (done, exchanges) = handle
            .exchange(WORK, Message::query("MEASure:ECHO? 2", SECOND))
            .await
            .unwrap();
        assert_eq!(done.reply, b"2");
        let received: Vec<Option<&str>> = exchanges.iter().map(|exchange| exchange.received.as_deref()).collect();
        assert_eq!(
            received[0],
            Some("1"),
            "the late reply is kept in the record, as discarded"
        );
        assert!(exchanges[1].sent.starts_with("*ESE"));
    });
}

#[test]
fn a_closed_peer_is_reported_at_once() {
    really(async {
        let served = serve(Desk::new());
        let clock = TestClock::start();
        let handle = over_tcp(&served, &clock).await;
        served.pranks.lock().unwrap().push_back(Prank::Close);
        let began = std::time::Instant::now();
        let error = ask(&handle, "MEASure:ECHO? 1", 5 * SECOND).await.unwrap_err();
        assert!(began.elapsed() < ms(500), "{:?}", began.elapsed());
        assert_eq!(error.trouble.got, "the connection was closed by the instrument");
        assert_eq!(
            ask(&handle, "MEASure:ECHO? 2", SECOND).await.unwrap(),
            "2",
            "the next question connects again"
        );
    });
}

#[test]
fn a_half_line_is_reported_in_hex_and_text() {
    really(async {
        let served = serve(Desk::new());
        let clock = TestClock::start();
        let handle = over_tcp(&served, &clock).await;
        served
            .pranks
            .lock()
            .unwrap()
            .push_back(Prank::Instead(b"12.\x1b".to_vec()));
        let error = ask(&handle, "MEASure:ECHO? 1", ms(50)).await.unwrap_err();
        assert_eq!(
            error.trouble.got,
            "no reply in time; received until then: 4 bytes: 31 32 2E 1B \"12.\\x1B\""
        );
        assert!(error.trouble.mend.contains("LF"), "{}", error.trouble.mend);
        assert_eq!(error.exchanges.last().unwrap().received.as_deref(), Some("12.\\x1B"));
        assert!(
            (0.05..0.5).contains(&error.trouble.elapsed_s),
            "{}",
            error.trouble.elapsed_s
        );
    });
}

#[test]
fn a_refused_connection_is_an_error_at_open() {
    really(async {
        let free = std::net::TcpListener::bind("127.0.0.1:0")
            .unwrap()
            .local_addr()
            .unwrap()
            .port();
        let began = std::time::Instant::now();
        let error = TcpLink::open("127.0.0.1", free, 5 * SECOND).await.err().unwrap();
        assert!(began.elapsed() < ms(500));
        assert!(matches!(&error, LinkError::NotOpened { address, .. } if *address == format!("127.0.0.1:{free}")));
        assert!(error.mend().contains("bench file"));
    });
}

#[test]
fn another_instrument_after_reconnecting_is_refused() {
    really(async {
        let served = serve(Desk::new());
        let clock = TestClock::start();
        let handle = over_tcp(&served, &clock).await;
        served.pranks.lock().unwrap().push_back(Prank::Close);
        ask(&handle, "MEASure:ECHO? 1", SECOND).await.unwrap_err();
        served.desk.lock().unwrap().identity = "PILOTAGE VIRTUAL,DESK,D-0002,1.0".to_owned();
        let error = ask(&handle, "MEASure:ECHO? 2", SECOND).await.unwrap_err();
        assert!(error.trouble.got.contains("D-0002"), "{error}");
        assert!(error.trouble.expected.contains("D-0001"), "{error}");
    });
}

#[test]
fn an_instrument_that_lost_power_is_refused() {
    really(async {
        let served = serve(Desk::new());
        let clock = TestClock::start();
        let handle = over_tcp(&served, &clock).await;
        ask(&handle, "*CLS;:SYSTem:ERRor?", SECOND).await.unwrap();
        served.pranks.lock().unwrap().push_back(Prank::Close);
        ask(&handle, "MEASure:ECHO? 1", SECOND).await.unwrap_err();
        served
            .desk
            .lock()
            .unwrap()
            .fixed
            .insert("*ESR?".to_owned(), b"128".to_vec());
        let error = ask(&handle, "MEASure:ECHO? 2", SECOND).await.unwrap_err();
        assert!(error.trouble.mend.contains("lost its settings"), "{error}");
    });
}

#[test]
fn eight_megabytes_come_whole() {
    really(async {
        let mut reply = b"#78000000".to_vec();
        reply.extend((0..8_000_000u32).map(|index| index as u8));
        let served = serve(Desk::answering("TRACe:DATA? (@1)", &reply));
        let clock = TestClock::start();
        let handle = over_tcp(&served, &clock).await;
        let (done, exchanges) = handle
            .exchange(WORK, Message::query("TRACe:DATA? (@1)", 10 * SECOND))
            .await
            .unwrap();
        assert!(done.reply == reply, "a different block came");
        assert!(
            exchanges[0]
                .received
                .as_deref()
                .unwrap()
                .starts_with("#block 8000000 bytes sha256 ")
        );
    });
}

#[test]
fn bytes_that_nobody_asked_for_are_no_answer() {
    really(async {
        let served = serve(Desk::new());
        let clock = TestClock::start();
        let handle = over_tcp(&served, &clock).await;
        served
            .pranks
            .lock()
            .unwrap()
            .push_back(Prank::Instead(b"1\n1\n".to_vec()));
        let error = ask(&handle, "MEASure:ECHO? 1", SECOND).await.unwrap_err();
        assert!(error.trouble.got.contains("more than one reply"), "{error}");
        assert_eq!(ask(&handle, "MEASure:ECHO? 2", SECOND).await.unwrap(), "2");
    });
}

#[test]
fn guard_goes_before_work_that_waits() {
    virtually(async {
        let clock = TestClock::start();
        let mut desk = Desk::new();
        desk.slow.insert("MEASure:ECHO? slow".to_owned(), ms(100));
        let (handle, tape) = in_memory(desk, &clock);
        let exchange = |lane, text: &'static str| {
            let handle = handle.clone();
            async move { handle.exchange(lane, Message::query(text, SECOND)).await.unwrap() }
        };
        let first = exchange(WORK, "MEASure:ECHO? slow");
        let late = async {
            tokio::time::sleep(ms(10)).await;
            tokio::join!(
                exchange(WORK, "MEASure:ECHO? work"),
                exchange(Lane::Guard, "MEASure:ECHO? guard")
            );
        };
        tokio::join!(first, late);
        let sent = String::from_utf8(tape.sent()).unwrap();
        assert_eq!(sent, "MEASure:ECHO? slow\nMEASure:ECHO? guard\nMEASure:ECHO? work\n");
    });
}

#[test]
fn whoever_waits_may_go_away() {
    virtually(async {
        let clock = TestClock::start();
        let mut desk = Desk::new();
        desk.slow.insert("MEASure:ECHO? 1".to_owned(), ms(100));
        let (handle, tape) = in_memory(desk, &clock);
        let begun = ask(&handle, "MEASure:ECHO? 1", SECOND);
        let never_sent = ask(&handle, "MEASure:ECHO? 2", SECOND);
        let both = async { tokio::join!(begun, never_sent) };
        tokio::time::timeout(ms(10), both).await.unwrap_err();
        assert_eq!(ask(&handle, "MEASure:ECHO? 3", SECOND).await.unwrap(), "3");
        assert_eq!(tape.sent(), b"MEASure:ECHO? 1\nMEASure:ECHO? 3\n");
    });
}

#[test]
fn without_permission_no_byte_is_sent() {
    virtually(async {
        let clock = TestClock::start();
        let (handle, tape) = in_memory(Desk::new(), &clock);
        let mut message = Message::query("INPut ON;:SYSTem:ERRor?", SECOND);
        message.permission = Some(Box::new(|_| {
            Err(Withheld {
                act: 7,
                why: "something tripped since it was given".to_owned(),
            })
        }));
        let error = handle.exchange(WORK, message).await.unwrap_err();
        assert!(
            error.trouble.got.contains("act 7") && error.trouble.got.contains("nothing was sent"),
            "{error}"
        );
        assert_eq!(tape.sent(), b"");
        assert!(error.exchanges.is_empty());
    });
}

#[test]
fn a_permission_is_checked_after_the_wait_in_the_queue() {
    virtually(async {
        let clock = TestClock::start();
        let mut desk = Desk::new();
        desk.slow.insert("MEASure".to_owned(), ms(600));
        let (handle, tape) = in_memory(desk, &clock);
        let given = RunTime::START;
        let mut message = Message::query("INPut ON;:SYSTem:ERRor?", SECOND);
        message.permission = Some(Box::new(move |now| {
            let why = "it is too old".to_owned();
            if now.since(given) > ms(500) {
                Err(Withheld { act: 1, why })
            } else {
                Ok(())
            }
        }));
        let (slow, energised) = tokio::join!(ask(&handle, "MEASure:ECHO? 1", SECOND), handle.exchange(WORK, message));
        assert_eq!(slow.unwrap(), "1");
        assert!(energised.unwrap_err().trouble.got.contains("too old"));
        assert_eq!(tape.sent(), b"MEASure:ECHO? 1\n");
    });
}

const ALL_FAULTS: [Fault; 8] = [
    Fault::Delay(Duration::from_millis(20)),
    Fault::Delay(Duration::from_millis(300)),
    Fault::Drop,
    Fault::Truncate,
    Fault::Duplicate,
    Fault::OneLate,
    Fault::Garbage,
    Fault::Close,
];

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
        let Ok((done, _)) = handle.exchange(WORK, Message::query(&text, ms(100))).await else {
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
    for kind in ALL_FAULTS {
        let mut answers = BTreeSet::new();
        for (seed, one_in) in (0..60).map(|seed| (seed, 1 + seed % 7)) {
            let right = virtually(async {
                let clock = TestClock::start();
                let link = MemoryLink::new(Box::new(AtOnce::new(Desk::new())), clock.reader());
                let link = Faults::new(link, plan(seed, one_in, &[kind]));
                let handle = Handle::start("desk", Box::new(link), clock.reader(), SECOND);
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
            let link = Faults::new(link, plan(seed, 4, &ALL_FAULTS));
            let handle = Handle::start("desk", Box::new(link), clock.reader(), SECOND);
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
            let handle = Handle::start("desk", Box::new(link), clock.reader(), SECOND);
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
            let link = Faults::new(link, plan(11, 3, &ALL_FAULTS));
            let (link, tape) = Trace::new(link, clock.reader());
            let handle = Handle::start("desk", Box::new(link), clock.reader(), SECOND);
            ask(&handle, "*IDN?", SECOND).await.unwrap();
            answered_rightly(&handle, "seed 11").await;
            tape.to_text()
        })
    };
    assert_eq!(run(), run());
}

#[test]
fn a_trace_plays_back_with_its_times() {
    virtually(async {
        let clock = TestClock::start();
        let mut desk = Desk::new();
        desk.slow.insert("MEASure".to_owned(), ms(30));
        let (handle, tape) = in_memory(desk, &clock);
        ask(&handle, "*IDN?", SECOND).await.unwrap();
        ask(&handle, "MEASure:ECHO? 5", SECOND).await.unwrap();

        let playback: Box<dyn Link> = Box::new(Playback::from_text(&tape.to_text()).unwrap());
        let played = Handle::start("desk", playback, clock.reader(), SECOND);
        let identity = ask(&played, "*IDN?", SECOND).await.unwrap();
        assert_eq!(identity, "PILOTAGE VIRTUAL,DESK,D-0001,1.0");
        let (done, _) = played
            .exchange(WORK, Message::query("MEASure:ECHO? 5", SECOND))
            .await
            .unwrap();
        assert_eq!(done.reply, b"5");
        assert_eq!(done.ended.since(done.began), ms(30));
        let error = ask(&played, "MEASure:ECHO? 6", SECOND).await.unwrap_err();
        assert!(error.trouble.got.contains("the trace has ended"), "{error}");
    });
}
