//! The bench as the runner sees it, over small instruments in memory and over TCP.

#![allow(clippy::unwrap_used, clippy::float_cmp)]

mod errors;
mod links;
mod orders;
mod readings;
mod shipped;

use super::Wired;
use crate::interpret::Tables;
use crate::link::{AtOnce, Link, MemoryLink, Tape, Trace};
use crate::testing::files::{bench, driver};
use crate::testing::{Desk, TestClock};
use pilotage_core::{Quantity, Unit};
use pilotage_plan::files::driver::DriverFile;
use pilotage_plan::program::{Order, ReadSpec, Setting};
use pilotage_run::world::{Answer, Bench, BenchError, Lane};
use std::collections::BTreeMap;
use std::sync::Arc;

type TestBench = Wired<TestClock>;

/// The orders that these tests send.
fn orders() -> Vec<Order> {
    let currents = [0.1 + 0.2, 16.0].map(|value| amperes("load.current", value));
    let deaf = [3.0099, 3.0101, 16.0].map(|value| amperes("deaf.current", value));
    let words = [word("load", "on"), word("load", "off"), word("broken", "on")];
    [&currents[..], &deaf[..], &words[..]].concat()
}

fn wired(link: Box<dyn Link>, clock: &Arc<TestClock>, driver: &DriverFile) -> TestBench {
    let tables = Tables::compile(&bench(), [driver]).unwrap();
    let orders = tables.compile_orders(&orders()).unwrap();
    let links = BTreeMap::from([("desk".to_owned(), link)]);
    Wired::from_tables(tables, orders, links, Arc::clone(clock)).unwrap()
}

fn in_memory(desk: Desk) -> (TestBench, Tape) {
    driven_by(&driver(), desk)
}

fn driven_by(driver: &DriverFile, desk: Desk) -> (TestBench, Tape) {
    let clock = TestClock::start();
    let (link, tape) = Trace::new(
        MemoryLink::new(Box::new(AtOnce::new(desk)), clock.reader()),
        clock.reader(),
    );
    (wired(Box::new(link), &clock, driver), tape)
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

fn specs(points: &[&str]) -> Vec<ReadSpec> {
    let spec = |point: &&str| ReadSpec {
        name: (*point).to_owned(),
        point: (*point).to_owned(),
        unit: "V".to_owned(),
    };
    points.iter().map(spec).collect()
}
