//! Answers that come late, in pieces, twice, not at all, or from another instrument.

use super::{SECOND, WORK, ask, in_memory, ms, over_tcp};
use crate::actor::{Handle, Message};
use crate::link::{Link, LinkError, Playback, TcpLink};
use crate::testing::{Desk, Prank, TestClock, really, serve, virtually};
use pilotage_run::world::Lane;

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
        served.prank(Prank::Late(ms(150)));
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
        served.prank(Prank::Close);
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
        served.prank(Prank::Instead(b"12.\x1b".to_vec()));
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
        served.prank(Prank::Close);
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
        served.prank(Prank::Close);
        ask(&handle, "MEASure:ECHO? 1", SECOND).await.unwrap_err();
        served
            .desk
            .lock()
            .unwrap()
            .fixed
            .insert("*ESR?".to_owned(), b"128".to_vec());
        let error = ask(&handle, "MEASure:ECHO? 2", SECOND).await.unwrap_err();
        assert!(error.trouble.mend.contains("lost its settings"), "{error}");
        served.desk.lock().unwrap().fixed.clear();
        let error = ask(&handle, "MEASure:ECHO? 3", SECOND).await.unwrap_err();
        assert!(
            error.trouble.mend.contains("lost its settings"),
            "no work goes on: {error}"
        );
        let off = handle
            .exchange(Lane::Guard, Message::query("INPut OFF;:SYSTem:ERRor?", SECOND))
            .await;
        assert_eq!(off.unwrap().0.reply, b"0,\"No error\"", "make safe does");
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
        served.prank(Prank::Instead(b"1\n1\n".to_vec()));
        let error = ask(&handle, "MEASure:ECHO? 1", SECOND).await.unwrap_err();
        assert!(error.trouble.got.contains("more than one reply"), "{error}");
        assert_eq!(ask(&handle, "MEASure:ECHO? 2", SECOND).await.unwrap(), "2");
    });
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
        let played = Handle::new("desk", playback, clock.reader(), SECOND);
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
