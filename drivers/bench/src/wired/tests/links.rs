//! Putting a bench together, and who is there.

use super::{amperes, in_memory, orders, read, set};
use crate::interpret::{Orders, Tables};
use crate::link::open_sockets;
use crate::testing::files::{bench, driver, sp};
use crate::testing::{Desk, Prank, TestClock, really, serve, virtually};
use crate::wired::Wired;
use pilotage_plan::files::bench::LinkText;
use pilotage_run::world::Bench;
use std::collections::BTreeMap;
use std::time::Duration;

#[test]
fn identifies_clears_and_starts() {
    virtually(async {
        let (bench, tape) = in_memory(Desk::new());
        let identities = bench.identify().await.unwrap();
        assert_eq!(identities[0].reply, "PILOTAGE VIRTUAL,DESK,D-0001,1.0");
        assert!(identities[0].expected);
        assert_eq!(tape.sent(), b"*IDN?\n*CLS;:SYSTem:ERRor?\n*RST;:SYSTem:ERRor?\n*OPC?\n");
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
        let orders = tables.compile_orders(&orders()).unwrap();
        let bench = Wired::from_tables(tables, orders, links, TestClock::start()).unwrap();
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
        served.prank(Prank::Instead(b"231V\n".to_vec()));
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
        let problems = Wired::from_tables(tables, Orders::default(), BTreeMap::new(), TestClock::start())
            .err()
            .unwrap();
        assert_eq!(problems[0].place, "desk");
    });
}
