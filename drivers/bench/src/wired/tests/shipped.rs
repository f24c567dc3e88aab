//! Every order of the shipped sequences: what is said beforehand is what goes over the wire.

use crate::interpret::{Tables, demands};
use crate::link::{AtOnce, Link, MemoryLink, Simple, Tape, Trace};
use crate::testing::shipped::{benches, drivers, programs};
use crate::testing::{TestClock, virtually};
use crate::wired::Wired;
use pilotage_core::RunTime;
use pilotage_plan::program::{Order, Program, QuietOrder, SafeAct};
use pilotage_run::world::{Bench, Lane};
use std::collections::BTreeMap;
use std::time::Duration;

/// Has no error, and answers every other query with a number.
struct Parrot;

impl Simple for Parrot {
    fn respond(&mut self, line: &[u8], _now: RunTime) -> (Vec<u8>, Duration) {
        let reply: &[u8] = if line.ends_with(b"SYSTem:ERRor?") {
            b"0,\"No error\"\n"
        } else {
            b"1\n"
        };
        (reply.to_vec(), Duration::from_millis(1))
    }
}

/// A bench of parrots, opened as a run opens it, and what each of them is sent.
fn parrots(program: &Program, tables: &Tables) -> (Wired<TestClock>, BTreeMap<String, Tape>) {
    let clock = TestClock::start();
    let mut links: BTreeMap<String, Box<dyn Link>> = BTreeMap::new();
    let mut tapes = BTreeMap::new();
    for name in tables.instruments.keys() {
        let link = MemoryLink::new(Box::new(AtOnce::new(Parrot)), clock.reader());
        let (link, tape) = Trace::new(link, clock.reader());
        links.insert(name.clone(), Box::new(link));
        tapes.insert(name.clone(), tape);
    }
    let orders = tables.prepare(program).unwrap();
    (Wired::from_tables(tables.clone(), orders, links, clock).unwrap(), tapes)
}

fn each(check: &impl AsyncFn(&Program, &Tables)) {
    let drivers = drivers();
    for (name, bench) in benches() {
        let tables = Tables::compile(&bench, drivers.values()).unwrap();
        // A person with meters has no wire.
        let programs = programs(&name, &bench, &drivers).into_iter();
        for program in programs.filter(|program| !program.hand_held) {
            virtually(check(&program, &tables));
        }
    }
}

#[test]
fn what_messages_says_is_what_goes_over_the_wire() {
    each(&async |program: &Program, tables: &Tables| {
        let (bench, tapes) = parrots(program, tables);
        let (_, orders) = demands::of(tables, program);
        assert!(orders.len() >= 20, "only {} orders", orders.len());
        for order in orders {
            let messages = bench.messages(order);
            let [(instrument, _), (reader, _)] = messages.as_slice() else {
                panic!("{order:?}: {messages:?}")
            };
            assert_eq!(instrument, reader);
            let before = tapes[instrument].sent().len();
            // A parrot seldom answers what was ordered: the read-back may refuse, but it was sent.
            let _ = bench.set(order, Lane::Work, None).await;
            let said: Vec<u8> = messages
                .iter()
                .flat_map(|(_, text)| [text.as_bytes(), b"\n"].concat())
                .collect();
            let sent = tapes[instrument].sent().split_off(before);
            assert_eq!(String::from_utf8(sent), String::from_utf8(said), "{order:?}");
        }
    });
}

fn safe_orders(program: &Program) -> Vec<&Order> {
    let dead = &program.dead;
    // Without a source nothing is proven, so nothing of a proof is compiled.
    let proof = if program.without_source.is_some() {
        vec![]
    } else {
        vec![
            &dead.burden_on,
            &dead.burden_off,
            &dead.reference_ac,
            &dead.reference_dc,
            &dead.reference_off,
        ]
    };
    let lines = program.make_safe.normal.iter().chain(&program.make_safe.emergency);
    let plan = lines.filter_map(|line| match line {
        SafeAct::Order(order) | SafeAct::SupplyOffUnlessDead(order, _) | SafeAct::BleedUntil { off: order, .. } => {
            Some(order)
        }
        SafeAct::Wait(_) | SafeAct::ProveDead(_) | SafeAct::NothingThere(_) => None,
    });
    plan.chain(proof).map(QuietOrder::order).collect()
}

#[test]
fn make_safe_is_compiled_whole_or_the_run_is_refused() {
    each(&async |program: &Program, tables: &Tables| {
        let orders = tables.prepare(program).unwrap();
        for order in safe_orders(program) {
            assert!(orders.get(order).is_some(), "{order:?}");
            // Without its service nothing is opened, so nothing is sent.
            let mut lacking = tables.clone();
            lacking.services.remove(&order.point);
            let problems = lacking.prepare(program).unwrap_err();
            assert!(
                problems.iter().any(|problem| problem.place == order.point),
                "{problems:?}"
            );
        }
    });
}
