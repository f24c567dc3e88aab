//! When a person is needed, estimated from the program alone: nothing here knows how long a person takes.

use super::estimate::length;
use super::problems::Problems;
use super::services::Services;
use crate::files::bench::BenchFile;
use crate::files::driver::DriverFile;
use crate::program::{Act, ActKind, Program, Step, with_inner};
use pilotage_evidence::EnergyState;
use std::collections::BTreeMap;
use std::time::Duration;

/// A person is asked for something.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Attendance {
    /// Position of the step in the program.
    pub step: u32,
    /// Its id.
    pub id: String,
    /// Its title.
    pub title: String,
    /// So long after the first step began, persons' own time not counted.
    pub after: Duration,
    /// What is asked.
    pub prompt: String,
    /// How often in this step, where it is asked in several passes.
    pub times: u32,
    /// Whether hands are wanted at the item: it is isolated then.
    pub hands: bool,
    /// Whether hands are wanted at the isolator.
    pub at_isolator: bool,
}

/// Every time that a person is asked, in order; a question that passes repeat stands once.
pub fn attendance(program: &Program, bench: &BenchFile, drivers: &BTreeMap<String, DriverFile>) -> Vec<Attendance> {
    let kind = program.heading.item.kind;
    let services = Services::resolve(kind, bench, drivers, &mut Problems::default());
    let mut found = Vec::new();
    let mut after = Duration::ZERO;
    for step in program.steps.iter().filter(|step| step.skipped.is_none()) {
        let mut own = Vec::new();
        for act in &step.acts {
            for inner in with_inner(std::slice::from_ref(act)) {
                own.extend(asked(step, inner, after));
            }
            after += length(act, &services);
        }
        for one in own {
            add(one, &mut found);
        }
    }
    found
}

fn add(one: Attendance, found: &mut Vec<Attendance>) {
    let known = found.iter_mut().rev().take_while(|known| known.step == one.step);
    match known.into_iter().find(|known| known.prompt == one.prompt) {
        Some(known) => known.times += 1,
        None => found.push(one),
    }
}

/// Before anything is energised from *isolated*, the runner asks for this.
const UNLOCK: &str = "Close the enclosure, step back and unlock the isolator.";

fn asked(step: &Step, act: &Act, after: Duration) -> Option<Attendance> {
    let (prompt, hands, at_isolator) = match &act.kind {
        ActKind::Ask(ask) => (ask.prompt.as_str(), ask.hands, false),
        ActKind::Isolate(isolate) => (isolate.prompt.as_str(), false, true),
        ActKind::Energise(_) if act.before == EnergyState::Isolated => (UNLOCK, false, true),
        _ => return None,
    };
    Some(Attendance {
        step: step.head.number,
        id: step.head.id.clone(),
        title: step.head.title.clone(),
        after,
        prompt: prompt.to_owned(),
        times: 1,
        hands,
        at_isolator,
    })
}
