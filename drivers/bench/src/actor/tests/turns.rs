//! Whose turn it is, and what becomes of those who go away or whose permission does not hold.

use super::{SECOND, WORK, ask, in_memory, ms, over_tcp};
use crate::actor::Message;
use crate::testing::{Desk, Prank, TestClock, really, serve, virtually};
use futures_util::FutureExt;
use pilotage_core::RunTime;
use pilotage_run::permit::Withheld;
use pilotage_run::world::Lane;

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
fn nothing_is_sent_for_someone_who_went_away_while_the_link_was_made_sure() {
    virtually(async {
        let clock = TestClock::start();
        let mut desk = Desk::new();
        desk.slow.insert("*IDN?".to_owned(), ms(300));
        let (handle, tape) = in_memory(desk, &clock);
        handle.distrust();
        let message = Message::query("INPut ON;:SYSTem:ERRor?", SECOND);
        tokio::time::timeout(ms(10), handle.exchange(WORK, message))
            .await
            .unwrap_err();
        assert_eq!(ask(&handle, "MEASure:ECHO? 3", SECOND).await.unwrap(), "3");
        let sent = String::from_utf8(tape.sent()).unwrap();
        assert!(sent.contains("*IDN?") && !sent.contains("INPut"), "{sent}");
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

#[test]
fn nobody_waits_for_an_exchange_that_nobody_drives() {
    virtually(async {
        let clock = TestClock::start();
        let mut desk = Desk::new();
        desk.slow.insert("MEASure:ECHO? 1".to_owned(), ms(100));
        let (handle, tape) = in_memory(desk, &clock);
        let mut begun = Box::pin(ask(&handle, "MEASure:ECHO? 1", SECOND));
        assert!(begun.as_mut().now_or_never().is_none(), "sent, not yet answered");
        // `begun` is kept and not driven while another question waits for its end.
        assert_eq!(ask(&handle, "MEASure:ECHO? 2", SECOND).await.unwrap(), "2");
        assert_eq!(begun.await.unwrap(), "1");
        assert_eq!(tape.sent(), b"MEASure:ECHO? 1\nMEASure:ECHO? 2\n");
    });
}

#[test]
fn an_exchange_whose_asker_went_away_is_brought_to_its_end_over_tcp() {
    really(async {
        let served = serve(Desk::new());
        let clock = TestClock::start();
        let handle = over_tcp(&served, &clock).await;
        served.prank(Prank::Late(ms(50)));
        tokio::time::timeout(ms(10), ask(&handle, "MEASure:ECHO? 1", SECOND))
            .await
            .unwrap_err();
        let (done, exchanges) = handle
            .exchange(Lane::Guard, Message::query("MEASure:ECHO? 2", SECOND))
            .await
            .unwrap();
        assert_eq!(done.reply, b"2");
        assert_eq!(exchanges.len(), 1, "the link was trusted all the time: {exchanges:?}");
    });
}

#[test]
fn many_threads_take_turns() {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(4)
        .enable_all()
        .build()
        .unwrap();
    runtime.block_on(async {
        let served = serve(Desk::new());
        let clock = TestClock::start();
        let handle = over_tcp(&served, &clock).await;
        let asking = (0..8).map(|asker| {
            let handle = handle.clone();
            tokio::spawn(async move {
                for number in 0..100 {
                    let number = (1000 * asker + number).to_string();
                    let text = format!("MEASure:ECHO? {number}");
                    assert_eq!(ask(&handle, &text, SECOND).await.unwrap(), number);
                    if asker == 7 {
                        let _ = tokio::time::timeout(ms(0), ask(&handle, "MEASure:ECHO? 0", SECOND)).await;
                    }
                }
            })
        });
        for asked in asking.collect::<Vec<_>>() {
            asked.await.unwrap();
        }
    });
}

/// A message whose permission panics: what nobody expects of the instrument's own side.
fn panics() -> Message {
    let mut message = Message::query("INPut ON;:SYSTem:ERRor?", SECOND);
    message.permission = Some(Box::new(|_| panic!("planted")));
    message
}

#[test]
fn after_a_panic_nobody_waits_for_the_instrument() {
    virtually(async {
        let clock = TestClock::start();
        let (handle, tape) = in_memory(Desk::new(), &clock);
        let first = std::panic::AssertUnwindSafe(handle.exchange(WORK, panics()));
        first.catch_unwind().await.unwrap_err();
        for lane in [WORK, Lane::Guard] {
            let next = handle.exchange(lane, Message::query("MEASure:ECHO? 1", SECOND));
            let error = tokio::time::timeout(ms(1), next).await.unwrap().unwrap_err();
            assert!(error.trouble.got.contains("it has ended"), "{error}");
        }
        assert_eq!(tape.sent(), b"");
    });
}

#[test]
fn who_waits_behind_a_panic_is_told_at_once() {
    virtually(async {
        let clock = TestClock::start();
        let mut desk = Desk::new();
        desk.slow.insert("MEASure:ECHO? 1".to_owned(), ms(100));
        let (handle, _) = in_memory(desk, &clock);
        let first = ask(&handle, "MEASure:ECHO? 1", SECOND);
        let second = handle.exchange(WORK, panics());
        let third = ask(&handle, "MEASure:ECHO? 3", SECOND);
        let all = async { tokio::join!(first, second, third) };
        let (first, second, third) = tokio::time::timeout(SECOND, all).await.unwrap();
        assert_eq!(first.unwrap(), "1");
        for error in [second.unwrap_err(), third.unwrap_err()] {
            assert!(error.trouble.got.contains("it has ended"), "{error}");
        }
    });
}
