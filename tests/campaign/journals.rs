//! The journal fails at every place where it is used: nothing is energised any more, and make safe is sent without it.

use crate::bench::{Plot, Story, run, undisturbed};
use crate::contradictions::contradictions;
use crate::draw::on_all_cores;
use crate::size;
use crate::witness::What;
use std::time::Instant;

/// How the journal fails, and at which of its calls.
type Failing = fn(u64) -> Plot;

fn appends(number: u64) -> Plot {
    Plot {
        seed: 1,
        append_fails: Some(number),
        ..Plot::default()
    }
}

fn syncs(number: u64) -> Plot {
    Plot {
        seed: 1,
        sync_fails: Some(number),
        ..Plot::default()
    }
}

fn stores(number: u64) -> Plot {
    Plot {
        seed: 1,
        store_fails: Some(number),
        ..Plot::default()
    }
}

#[test]
fn a_journal_that_fails_anywhere_is_made_safe() {
    let began = Instant::now();
    let (fitted, item, whole) = undisturbed("wall_unit/quick_check");
    let count = |wanted: fn(&What) -> bool| whole.entries.iter().filter(|entry| wanted(&entry.what)).count();
    let events = count(|what| matches!(what, What::Event(_)));
    let syncs_made = count(|what| matches!(what, What::Synced));
    let captures = count(
        |what| matches!(what, What::Event(event) if matches!(event.as_ref(), pilotage_evidence::Event::Captured(_))),
    );
    let mut cases: Vec<(&str, Failing, u64)> = Vec::new();
    let mut every = |name, failing: Failing, calls: usize, few: usize| {
        let step = calls.div_ceil(size(few, calls)).max(1);
        cases.extend((0..calls).step_by(step).map(|number| (name, failing, number as u64)));
        // The last call is a place of its own.
        cases.push((name, failing, calls as u64 - 1));
    };
    every("append", appends, events, 12);
    every("sync", syncs, syncs_made, 3);
    every("store", stores, captures, 2);
    let bad: Vec<String> = on_all_cores(cases.len(), |index| {
        let (name, failing, number) = cases[index];
        let found = after_failure(&run(&fitted, &fitted.program, &item, &failing(number)));
        (!found.is_empty()).then(|| format!("{name} {number}: {}", found.join(" | ")))
    })
    .into_iter()
    .flatten()
    .collect();
    println!(
        "journal: {} failures ({events} appends, {syncs_made} syncs, {captures} captures), {:.1} s",
        cases.len(),
        began.elapsed().as_secs_f64()
    );
    assert!(bad.is_empty(), "{} of {}:\n{}", bad.len(), cases.len(), bad.join("\n"));
}

fn after_failure(story: &Story) -> Vec<String> {
    let mut found = contradictions(story);
    let outcome = story.outcome.as_ref().unwrap();
    if !matches!(outcome.exit_code, 5 | 6) {
        found.push(format!("exit code {}", outcome.exit_code));
    }
    if !story.entries.iter().any(|entry| matches!(entry.what, What::Refused(_))) {
        found.push("nothing failed".to_owned());
    }
    for (instrument, header, wanted) in [
        ("supply", "OUTPut ", "OUTPut OFF"),
        ("pilot_box", "ROUTe:PILot ", "ROUTe:PILot A"),
    ] {
        let last = story.entries.iter().rev().find_map(|entry| match &entry.what {
            What::Sent {
                instrument: to, line, ..
            } if to == instrument && line.starts_with(header) => Some(line),
            _ => None,
        });
        if !last.is_some_and(|line| line.starts_with(wanted)) {
            found.push(format!("the last order to {instrument} was {last:?}"));
        }
    }
    found
}
