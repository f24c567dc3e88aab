//! The bench as the runner sees it, over small instruments in memory and over TCP.

#![allow(clippy::unwrap_used, clippy::float_cmp)]

use super::Wired;
use crate::interpret::Tables;
use crate::link::{AtOnce, Link, MemoryLink, Tape, Trace, open_sockets};
use crate::testing::files::{bench, driver, sp};
use crate::testing::{Desk, Prank, TestClock, really, serve, virtually};
use pilotage_core::{NoValue, Quantity, RunTime, Unit};
use pilotage_plan::files::bench::LinkText;
use pilotage_plan::program::{CaptureSpec, Order, ReadSpec, Setting};
use pilotage_run::permit::Withheld;
use pilotage_run::world::{Answer, Bench, BenchError, Clock, Lane};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

type TestBench = Wired<TestClock>;

fn wired(link: Box<dyn Link>, clock: &Arc<TestClock>) -> TestBench {
    let tables = Tables::compile(&bench(), &[driver()]).unwrap();
    Wired::from_tables(tables, BTreeMap::from([("desk".to_owned(), link)]), Arc::clone(clock)).unwrap()
}

fn in_memory(desk: Desk) -> (TestBench, Tape) {
    let clock = TestClock::start();
    let (link, tape) = Trace::new(
        MemoryLink::new(Box::new(AtOnce::new(desk)), clock.reader()),
        clock.reader(),
    );
    (wired(Box::new(link), &clock), tape)
}

fn order(point: &str, to: Setting) -> Order {
    Order {
        point: point.to_owned(),
        to,
        becomes: None,
    }
}

fn word(point: &str, to: &str) -> Order {
    order(point, Setting::Word(to.to_owned()))
}

fn amperes(point: &str, amperes: f64) -> Order {
    let value = Quantity::new(amperes, Unit::find("A").unwrap().dimension).unwrap();
    order(point, Setting::Amount(value, "A".to_owned()))
}

async fn read(bench: &TestBench, point: &str) -> Result<Answer, BenchError> {
    let what = ReadSpec {
        name: "x".to_owned(),
        point: point.to_owned(),
        unit: "V".to_owned(),
    };
    bench.read(&what, Lane::Work).await
}

async fn set(bench: &TestBench, order: &Order) -> Result<Vec<String>, BenchError> {
    let exchanges = bench.set(order, Lane::Work, None).await?;
    let line = |exchange: pilotage_evidence::event::Exchange| {
        format!("{} → {}", exchange.sent, exchange.received.unwrap_or_default())
    };
    Ok(exchanges.into_iter().map(line).collect())
}

#[test]
fn identifies_clears_and_starts() {
    virtually(async {
        let (bench, tape) = in_memory(Desk::new());
        let identities = bench.identify().await.unwrap();
        assert_eq!(identities[0].reply, "PILOTAGE VIRTUAL,DESK,D-0001,1.0");
        assert!(identities[0].expected);
        assert_eq!(tape.sent(), b"*IDN?\n*CLS;:SYSTem:ERRor?\n*RST;:SYSTem:ERRor?\n");
    });
}

#[test]
fn another_serial_is_told_nothing() {
    virtually(async {
        let mut desk = Desk::new();
        desk.identity = "PILOTAGE VIRTUAL,DESK,D-0009,1.0".to_owned();
        let (bench, tape) = in_memory(desk);
        assert!(!bench.identify().await.unwrap()[0].expected);
        assert_eq!(tape.sent(), b"*IDN?\n");
    });
}

#[test]
fn sets_and_reads_back() {
    virtually(async {
        let (bench, _) = in_memory(Desk::new());
        let lines = set(&bench, &word("load", "on")).await.unwrap();
        assert_eq!(lines, ["INPut ON;:SYSTem:ERRor? → 0,\"No error\"", "INPut? → ON"]);
        let lines = set(&bench, &amperes("load.current", 0.1 + 0.2)).await.unwrap();
        assert_eq!(lines[0], "CURRent 0.30000000000000004;:SYSTem:ERRor? → 0,\"No error\"");
        let messages = bench.messages(&amperes("load.current", 16.0));
        let of_desk = |text: &str| ("desk".to_owned(), text.to_owned());
        assert_eq!(messages, [of_desk("CURRent 16;:SYSTem:ERRor?"), of_desk("CURRent?")]);
        assert_eq!(read(&bench, "load").await.unwrap().word.as_deref(), Some("on"));
    });
}

#[test]
fn a_setting_that_was_not_taken_is_found() {
    virtually(async {
        let (bench, _) = in_memory(Desk::new());
        let error = set(&bench, &amperes("deaf.current", 16.0)).await.unwrap_err();
        assert_eq!(
            error.trouble.expected,
            "16 A ± 0.01 A (after \"CURRent 16;:SYSTem:ERRor?\")"
        );
        assert_eq!(error.trouble.got, "3");
        assert_eq!(error.exchanges.len(), 2);
        assert!(error.trouble.mend.contains("front panel"));
        set(&bench, &amperes("deaf.current", 3.0099)).await.unwrap();
        set(&bench, &amperes("deaf.current", 3.0101)).await.unwrap_err();
        let (bench, _) = in_memory(Desk::answering("INPut?", b"OFF"));
        let error = set(&bench, &word("load", "on")).await.unwrap_err();
        assert_eq!(
            (error.trouble.command.as_str(), error.trouble.got.as_str()),
            ("INPut?", "OFF")
        );
    });
}

#[test]
fn what_the_instrument_cannot_do_is_not_sent() {
    virtually(async {
        let (bench, tape) = in_memory(Desk::new());
        for wrong in [
            amperes("load.current", 40.1),
            amperes("load.current", -1.0),
            word("load", "open"),
            word("nowhere", "on"),
        ] {
            let error = set(&bench, &wrong).await.unwrap_err();
            assert!(!error.trouble.mend.is_empty(), "{error}");
            assert!(bench.messages(&wrong).is_empty());
        }
        assert_eq!(tape.sent(), b"");
    });
}

#[test]
fn an_error_belongs_to_its_command() {
    virtually(async {
        let (bench, _) = in_memory(Desk::answering("SYSTem:ERRor?", b"-222,\"Data out of range\""));
        let error = set(&bench, &word("load", "on")).await.unwrap_err();
        assert_eq!(error.trouble.command, "INPut ON;:SYSTem:ERRor?");
        assert_eq!(error.trouble.got, "-222,\"Data out of range\"");
    });
}

#[test]
fn a_command_that_stops_the_message_is_explained() {
    virtually(async {
        let (bench, _) = in_memory(Desk::new());
        bench.identify().await.unwrap();
        let error = set(&bench, &word("broken", "on")).await.unwrap_err();
        assert_eq!(error.trouble.command, "INPutt ON;:SYSTem:ERRor?");
        assert_eq!(error.trouble.got, "-113,\"Undefined header;INPutt ON\"");
        assert!(error.trouble.mend.contains("driver file"));
    });
}

#[test]
fn lost_errors_are_an_error() {
    virtually(async {
        let (bench, _) = in_memory(Desk::answering("SYSTem:ERRor?", b"-350,\"Queue overflow\""));
        assert_eq!(bench.drain().await.unwrap(), []);
        read(&bench, "enclosure").await.unwrap();
        let error = bench.drain().await.unwrap_err();
        assert!(
            error.trouble.got.contains("-350") && error.trouble.got.contains("errors were lost"),
            "{error}"
        );
        assert_eq!(
            error.exchanges.len(),
            30,
            "a queue that never empties is left after 30 entries"
        );
    });
}

#[test]
fn only_used_instruments_are_drained_and_once() {
    virtually(async {
        let (bench, tape) = in_memory(Desk::new());
        read(&bench, "enclosure").await.unwrap();
        assert_eq!(bench.drain().await.unwrap().len(), 1);
        assert_eq!(bench.drain().await.unwrap().len(), 0);
        assert_eq!(tape.sent(), b"MEASure:ECHO? 1\nSYSTem:ERRor?\n");
    });
}

#[test]
fn reads_numbers_and_words() {
    virtually(async {
        let mut desk = Desk::new();
        desk.slow.insert("MEASure".to_owned(), Duration::from_millis(50));
        let (bench, _) = in_memory(desk);
        tokio::time::sleep(Duration::from_secs(1)).await;
        let answer = read(&bench, "ac_output[L-N].voltage").await.unwrap();
        assert_eq!(answer.datum.unwrap().value.si(), 230.0);
        assert_eq!(
            answer.taken,
            (RunTime(850_000_000), RunTime(1_050_000_000)),
            "200 ms aperture before the reply"
        );
        assert_eq!(answer.exchanges[0].received.as_deref(), Some("230"));
        assert_eq!(
            read(&bench, "over.voltage").await.unwrap().datum,
            Err(NoValue::Overload)
        );
        assert_eq!(read(&bench, "enclosure").await.unwrap().word.as_deref(), Some("closed"));
        let error = read(&bench, "list.voltage").await.unwrap_err();
        assert_eq!(
            (
                error.trouble.expected.starts_with("a number"),
                error.trouble.got.as_str()
            ),
            (true, "230:5")
        );
    });
}

#[test]
fn a_word_that_no_answer_names_is_refused() {
    virtually(async {
        let (bench, _) = in_memory(Desk::answering("MEASure:ECHO? 1", b"2"));
        let error = read(&bench, "enclosure").await.unwrap_err();
        assert_eq!(
            (error.trouble.expected.as_str(), error.trouble.got.as_str()),
            ("one of 1, 0", "2")
        );
    });
}

#[test]
fn captures_on_a_paused_clock() {
    virtually(async {
        let (bench, tape) = in_memory(Desk::new());
        let capture = CaptureSpec {
            name: "WU-19".to_owned(),
            of: vec!["ac_output[L-N]".to_owned(), "pilot".to_owned()],
            length: Duration::from_secs(4),
            rate: 250.0,
            during: Vec::new(),
        };
        let began = bench.clock.now();
        bench.arm(&capture).await.unwrap();
        let captured = bench.fetch(&capture).await.unwrap();
        assert!(
            tape.sent()
                .starts_with(b"ACQuire:SRATe 250;:ACQuire:POINts 1000;:INITiate;:SYSTem:ERRor?\nSTATus")
        );
        let channel = &captured.channels[0];
        assert_eq!(
            (channel.point.as_str(), channel.unit.as_str(), channel.samples),
            ("ac_output[L-N]", "V", 1000)
        );
        assert_eq!((channel.offset, channel.scale, channel.interval_s), (1.5, 0.25, 0.004));
        assert_eq!(channel.first_sample, began);
        assert!((channel.gain_standard.unwrap() - 0.005 / 3f64.sqrt()).abs() < 1e-15);
        assert_eq!(captured.channels[1].point, "pilot");
        assert_eq!(captured.samples[0][..4], [0, 10, 20, 30]);
        assert_eq!(captured.samples[1].len(), 1000);
        assert!(bench.clock.now().since(began) >= capture.length);
        let error = bench.fetch(&capture).await.unwrap_err();
        assert!(error.trouble.got.contains("was not armed"), "{error}");
    });
}

#[test]
fn a_block_of_the_wrong_length_is_refused() {
    virtually(async {
        let (bench, _) = in_memory(Desk::answering("TRACe:DATA? (@1)", b"#14abcd"));
        let capture = CaptureSpec {
            name: "x".to_owned(),
            of: vec!["pilot".to_owned()],
            length: Duration::from_secs(1),
            rate: 100.0,
            during: Vec::new(),
        };
        bench.arm(&capture).await.unwrap();
        let error = bench.fetch(&capture).await.unwrap_err();
        assert_eq!(error.trouble.got, "a block of 4 bytes");
        assert!(error.trouble.expected.contains("200 bytes"), "{error}");
    });
}

#[test]
fn a_withheld_permit_sends_nothing() {
    virtually(async {
        let (bench, tape) = in_memory(Desk::new());
        let withheld = |_| {
            let why = "something tripped since it was given".to_owned();
            Err(Withheld { act: 3, why })
        };
        let error = bench
            .set(&word("load", "on"), Lane::Work, Some(Box::new(withheld)))
            .await
            .unwrap_err();
        assert!(error.trouble.got.contains("something tripped"), "{error}");
        assert_eq!(tape.sent(), b"", "not even the read-back");
        bench
            .set(&word("load", "on"), Lane::Work, Some(Box::new(|_| Ok(()))))
            .await
            .unwrap();
        assert!(tape.sent().starts_with(b"INPut ON;"));
    });
}

#[test]
fn works_over_tcp() {
    really(async {
        let served = serve(Desk::new());
        let mut file = bench();
        file.instruments[0].link = LinkText::Tcp {
            host: sp("127.0.0.1"),
            port: served.port,
        };
        let links = open_sockets(&file, Duration::from_secs(1)).await.unwrap();
        let tables = Tables::compile(&file, &[driver()]).unwrap();
        let bench = Wired::from_tables(tables, links, TestClock::start()).unwrap();
        assert!(bench.identify().await.unwrap()[0].expected);
        set(&bench, &amperes("load.current", 16.0)).await.unwrap();
        assert_eq!(
            read(&bench, "ac_output[L-N].voltage")
                .await
                .unwrap()
                .datum
                .unwrap()
                .value
                .si(),
            230.0
        );
        served
            .pranks
            .lock()
            .unwrap()
            .push_back(Prank::Instead(b"231V\n".to_vec()));
        let error = read(&bench, "ac_output[L-N].voltage").await.unwrap_err();
        assert!(error.trouble.mend.contains("suffix"), "{error}");
        let answer = read(&bench, "ac_output[L-N].voltage").await.unwrap();
        assert_eq!(answer.datum.unwrap().value.si(), 230.0);
        assert_eq!(
            answer.exchanges[0].sent, "*IDN?",
            "after a reply without sense the link is made sure first"
        );
    });
}

#[test]
fn a_refused_connection_names_instrument_and_place() {
    really(async {
        let port = std::net::TcpListener::bind("127.0.0.1:0")
            .unwrap()
            .local_addr()
            .unwrap()
            .port();
        let mut file = bench();
        file.instruments[0].link = LinkText::Tcp {
            host: sp("127.0.0.1"),
            port,
        };
        let error = open_sockets(&file, Duration::from_secs(5)).await.err().unwrap();
        assert_eq!(error.trouble.instrument, "desk");
        assert_eq!(
            error.trouble.expected,
            format!("an instrument listening at 127.0.0.1:{port} (desk.yaml:7)")
        );
        assert!(error.trouble.got.contains("refused"), "{error}");
    });
}

#[test]
fn an_instrument_without_link_is_a_problem() {
    virtually(async {
        let tables = Tables::compile(&bench(), &[driver()]).unwrap();
        let problems = Wired::from_tables(tables, BTreeMap::new(), TestClock::start())
            .err()
            .unwrap();
        assert_eq!(problems[0].place, "desk");
    });
}
