//! What is going to happen, in order of time and, at equal times, of planning.

use super::api::{Action, Pole};

/// Something that happens by itself in a wall unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Event {
    /// The bench's supply contactor opens.
    Guard,
    /// The bench puts another load on the pilot, at the angle of the mains that it waited for.
    PilotLoad(Action),
    /// The item's electronics run out of energy.
    PowerDown,
    /// The item's electronics begin to work.
    Boot,
    /// The item samples its pilot.
    Sample,
    /// A timer of the item's logic runs out.
    Deadline,
    /// The item looks at its temperature.
    Derate,
    /// A pole begins or ceases to touch while closing.
    Touch(Pole, bool),
    /// A pole parts while opening.
    Part(Pole),
    /// The arc of a parted pole goes out.
    Quench(Pole),
}

/// The events that are planned, of one kind of item.
#[derive(Debug)]
pub(super) struct Queue<E> {
    planned: Vec<(f64, u64, E)>,
    count: u64,
}

impl<E> Default for Queue<E> {
    fn default() -> Self {
        Self {
            planned: Vec::new(),
            count: 0,
        }
    }
}

impl<E: Copy + PartialEq> Queue<E> {
    pub(super) fn plan(&mut self, at_s: f64, event: E) {
        self.count += 1;
        self.planned.push((at_s, self.count, event));
    }

    /// Forgets every event that `which` names.
    pub(super) fn cancel(&mut self, which: impl Fn(&E) -> bool) {
        self.planned.retain(|(_, _, event)| !which(event));
    }

    pub(super) fn holds(&self, event: E) -> bool {
        self.planned.iter().any(|(_, _, planned)| *planned == event)
    }

    /// When it is planned first.
    pub(super) fn when(&self, event: E) -> Option<f64> {
        let times = self.planned.iter().filter(|(_, _, planned)| *planned == event);
        times.map(|(at_s, _, _)| *at_s).min_by(f64::total_cmp)
    }

    /// Takes the first event that is due by `to_s`.
    pub(super) fn take_until(&mut self, to_s: f64) -> Option<(f64, E)> {
        let first = |a: &(f64, u64, E), b: &(f64, u64, E)| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1));
        let (index, &(at_s, _, event)) = self.planned.iter().enumerate().min_by(|(_, a), (_, b)| first(a, b))?;
        if at_s > to_s {
            return None;
        }
        self.planned.swap_remove(index);
        Some((at_s, event))
    }
}
