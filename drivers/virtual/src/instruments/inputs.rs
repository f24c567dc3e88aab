//! Where the inputs of the capture instrument are led: to the item, or all of them to the bench's reference. Relays of the
//! relay box or of the switch box do it, so both instruments know this wiring.

use super::syntax::word;
use pilotage_core::RunTime;
use scpi::error::Result;
use scpi::parser::parameters::Parameters;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// The relays' past, shared by the box that leads them and the capture instrument.
#[derive(Debug, Clone, Default)]
pub(super) struct Inputs {
    /// Each change with its moment: true leads to the reference. Before the first, to the item.
    changes: Arc<Mutex<Vec<(RunTime, bool)>>>,
}

impl Inputs {
    /// Leads all inputs to the reference, or back to the item.
    pub(super) fn lead(&self, to_reference: bool, now: RunTime) {
        let mut changes = self.locked();
        if changes.last().is_some_and(|change| change.1) != to_reference {
            changes.push((now, to_reference));
        }
    }

    /// Whether they are led to the reference now.
    pub(super) fn on_reference(&self) -> bool {
        self.locked().last().is_some_and(|change| change.1)
    }

    /// How that is answered.
    pub(super) fn word(&self) -> &'static str {
        if self.on_reference() { "REF" } else { "ITEM" }
    }

    /// `ITEM` or `REFerence`: whether to lead them to the reference.
    pub(super) fn read(parameters: &mut Parameters<'_, '_>) -> Result<bool> {
        word(parameters, &[(b"ITEM", false), (b"REFerence", true)])
    }

    /// Stretches of a record of `count` samples, with the number of their first sample and where they were led.
    pub(super) fn stretches(&self, from: RunTime, interval_s: f64, count: usize) -> Vec<(usize, bool)> {
        let mut stretches = vec![(0, false)];
        for (at, to_reference) in self.locked().iter() {
            let first = (at.since(from).as_secs_f64() / interval_s).ceil();
            let first = if *at <= from { 0 } else { first as usize };
            if first < count {
                stretches.retain(|(start, _)| *start < first);
                stretches.push((first, *to_reference));
            }
        }
        stretches
    }

    fn locked(&self) -> MutexGuard<'_, Vec<(RunTime, bool)>> {
        self.changes.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
