//! Interlocks and protections, watched beside every act while anything may be energised.
//!
//! A condition is asked every `every` on the guard lane. An answer that is not there within `every` of its asking is a
//! missed check and trips; so no condition is ever older than twice `every`. A clock that jumps by more than
//! [`LARGEST_GAP`] trips too: the program stood still, and nobody watched.

use crate::halt::{Trip, TripKind};
use crate::look::inside;
use crate::permit::Gate;
use crate::wording;
use crate::world::{Answer, Bench, BenchError, Clock, Lane};
use futures_util::FutureExt;
use futures_util::future::{LocalBoxFuture, select_all};
use pilotage_core::{RunTime, Tolerance};
use pilotage_evidence::Event;
use pilotage_plan::program::{Interlock, Program, Protection, ReadSpec};
use std::cell::RefCell;
use std::convert::Infallible;
use std::future::Future;
use std::time::Duration;
use tokio::sync::watch;

/// A longer standstill of the program, or a larger difference between wall clock and run clock, trips.
pub(crate) const LARGEST_GAP: Duration = Duration::from_secs(2);
/// Time between looks at the clocks, and between signs of life.
const GAP_EVERY: Duration = Duration::from_millis(500);
/// A timer that comes later than this came late.
const TIMER: Duration = Duration::from_millis(2);
/// Turns that links get to hand over what has come.
const PICK_UP: u32 = 32;
/// Checks are never asked more often.
const SHORTEST_EVERY: Duration = Duration::from_millis(1);

/// The guards of one run.
pub(crate) struct Watch<'a, B, C> {
    bench: &'a B,
    clock: &'a C,
    gate: Gate,
    armed: watch::Sender<bool>,
    guards: Vec<Guard>,
    tallies: RefCell<Vec<Tally>>,
}

/// One condition, however it was written.
#[derive(Debug, Clone)]
struct Guard {
    kind: TripKind,
    read: ReadSpec,
    wanted: Wanted,
    every: Duration,
}

#[derive(Debug, Clone)]
enum Wanted {
    Word(String),
    Inside(Tolerance),
}

/// What one guard saw since its last event.
#[derive(Debug, Clone, Default)]
struct Tally {
    checks: u64,
    good_at: Option<RunTime>,
    last: Option<Answer>,
    /// The lowest and the highest value that a protection saw.
    extremes: Option<(Extreme, Extreme)>,
}

/// A value that a protection saw, in SI units, and as it is printed.
#[derive(Debug, Clone)]
struct Extreme {
    si: f64,
    words: String,
}

impl<'a, B: Bench, C: Clock> Watch<'a, B, C> {
    pub(crate) fn new(program: &Program, bench: &'a B, clock: &'a C, gate: Gate) -> Self {
        let interlocks = program.interlocks.iter().map(Guard::of_interlock);
        let guards: Vec<Guard> = interlocks
            .chain(program.protections.iter().map(Guard::of_protection))
            .collect();
        Self {
            bench,
            clock,
            gate,
            armed: watch::Sender::new(false),
            tallies: RefCell::new(vec![Tally::default(); guards.len()]),
            guards,
        }
    }

    /// The gate that a trip shuts.
    pub(crate) fn gate(&self) -> &Gate {
        &self.gate
    }

    /// From now on every guard is watched.
    pub(crate) fn arm(&self) {
        self.armed.send_replace(true);
    }

    /// Nothing is energised any more.
    pub(crate) fn disarm(&self) {
        self.armed.send_replace(false);
    }

    /// Whether the guards are watched.
    pub(crate) fn is_armed(&self) -> bool {
        *self.armed.borrow()
    }

    /// Runs beside every act; ends only with a trip.
    pub(crate) async fn monitor(&self) -> Trip {
        loop {
            self.becomes(true).await;
            tokio::select! {
                biased;
                trip = self.watch_all() => return self.tripped(trip),
                () = self.becomes(false) => {}
            }
        }
    }

    /// Shows the bench that this loop still gets its turns, for ever: beside the program, and beside make safe.
    pub(crate) async fn show_life(&self) -> Infallible {
        loop {
            self.bench.alive();
            self.clock.sleep(GAP_EVERY).await;
        }
    }

    /// Asks every guard that was not found good within its period, before a permit is given.
    pub(crate) async fn all_fresh(&self) -> Result<(), Trip> {
        for (index, guard) in self.guards.iter().enumerate() {
            let good_at = self.tallies.borrow()[index].good_at;
            if good_at.is_none_or(|at| self.clock.now().since(at) > guard.every) {
                self.check(index).await.map_err(|trip| self.tripped(trip))?;
            }
        }
        Ok(())
    }

    /// One event for each guard that was checked since the last time.
    pub(crate) fn summaries(&self) -> Vec<Event> {
        let mut tallies = self.tallies.borrow_mut();
        let checked = self
            .guards
            .iter()
            .zip(tallies.iter_mut())
            .filter(|(_, tally)| tally.checks > 0);
        checked.map(|(guard, tally)| guard.summary(&tally.take())).collect()
    }

    async fn becomes(&self, armed: bool) {
        let mut changes = self.armed.subscribe();
        if changes.wait_for(|now| *now == armed).await.is_err() {
            // The sender lives in `self`, so it cannot have gone.
            std::future::pending::<()>().await;
        }
    }

    fn tripped(&self, trip: Trip) -> Trip {
        self.gate.shut();
        tracing::warn!(name = trip.name, detail = trip.detail, "tripped");
        trip
    }

    async fn watch_all(&self) -> Trip {
        let each = (0..self.guards.len()).map(|index| self.watch_one(index).boxed_local());
        let gap = self.watch_clocks().boxed_local();
        let all: Vec<LocalBoxFuture<'_, Trip>> = each.chain(std::iter::once(gap)).collect();
        select_all(all).await.0
    }

    async fn watch_one(&self, index: usize) -> Trip {
        let every = self.guards[index].every;
        let mut next = self.clock.now();
        loop {
            if let Err(trip) = self.check(index).await {
                return trip;
            }
            next = next.plus(every).max(self.clock.now());
            if let Err(trip) = self.sleep_until(next).await {
                return trip;
            }
        }
    }

    async fn check(&self, index: usize) -> Result<(), Trip> {
        let guard = &self.guards[index];
        let seen = self
            .in_time(guard.every, self.bench.read(&guard.read, Lane::Guard))
            .await;
        let now = self.clock.now();
        let tally = &mut self.tallies.borrow_mut()[index];
        tally.checks += 1;
        guard.judge(seen.as_ref()).map_err(|detail| Trip {
            kind: guard.kind,
            name: guard.read.point.clone(),
            detail,
            checks: tally.take().checks,
            at: now,
        })?;
        if let Some(Ok(answer)) = seen {
            tally.saw(guard, answer);
        }
        Ok(())
    }

    async fn in_time<T>(&self, span: Duration, what: impl Future<Output = T>) -> Option<T> {
        let (mut what, began) = (std::pin::pin!(what), self.clock.now());
        tokio::select! {
            biased;
            done = &mut what => return Some(done),
            () = self.clock.sleep(span) => {}
        }
        // Where the timer itself came late the program stood still (a slow disk, a busy machine), which has a limit of its
        // own: LARGEST_GAP. An answer that waits to be picked up by then is not a missed one.
        if self.clock.now().since(began) <= span + TIMER {
            return None;
        }
        for _ in 0..PICK_UP {
            tokio::task::yield_now().await;
            if let Some(done) = (&mut what).now_or_never() {
                return Some(done);
            }
        }
        None
    }

    async fn sleep_until(&self, at: RunTime) -> Result<(), Trip> {
        self.clock.sleep(at.since(self.clock.now())).await;
        let now = self.clock.now();
        if now.since(at) > LARGEST_GAP {
            return Err(stood_still(now.since(at), now));
        }
        Ok(())
    }

    /// The wall clock, where there is one, must go as the run clock does.
    async fn watch_clocks(&self) -> Trip {
        let mut before = (self.clock.now(), self.clock.wall());
        loop {
            if let Err(trip) = self.sleep_until(before.0.plus(GAP_EVERY)).await {
                return trip;
            }
            let now = (self.clock.now(), self.clock.wall());
            if let (Some(earlier), Some(later)) = (before.1, now.1) {
                let gap = later.saturating_sub(earlier).abs_diff(now.0.since(before.0));
                let back = earlier.saturating_sub(later);
                if gap.max(back) > LARGEST_GAP {
                    return stood_still(gap.max(back), now.0);
                }
            }
            before = now;
        }
    }
}

fn stood_still(gap: Duration, at: RunTime) -> Trip {
    Trip {
        kind: TripKind::Interlock,
        name: "clock".to_owned(),
        detail: format!("a gap of {} in which nothing was watched", wording::span(gap)),
        checks: 0,
        at,
    }
}

impl Guard {
    fn of_interlock(interlock: &Interlock) -> Self {
        Self {
            kind: TripKind::Interlock,
            read: ReadSpec::of(&interlock.point, ""),
            wanted: Wanted::Word(interlock.must_be.clone()),
            every: interlock.every.max(SHORTEST_EVERY),
        }
    }

    fn of_protection(protection: &Protection) -> Self {
        Self {
            kind: TripKind::Protection,
            read: ReadSpec::of(&protection.point, &protection.unit),
            wanted: Wanted::Inside(protection.tolerance.clone()),
            every: protection.every.max(SHORTEST_EVERY),
        }
    }

    /// Nothing seen, no value and no word trip as a wrong value does.
    fn judge(&self, seen: Option<&Result<Answer, BenchError>>) -> Result<(), String> {
        let answer = match seen {
            None => return Err(format!("missed check: no answer within {}", wording::span(self.every))),
            Some(Err(error)) => return Err(format!("missed check: {}", wording::trouble(&error.trouble))),
            Some(Ok(answer)) => answer,
        };
        let held = match &self.wanted {
            Wanted::Word(word) => answer.word.as_ref() == Some(word),
            Wanted::Inside(tolerance) => inside(&answer.datum, tolerance) == Some(true),
        };
        if held {
            return Ok(());
        }
        let wanted = match &self.wanted {
            Wanted::Word(word) => format!("must be {word}"),
            Wanted::Inside(_) => "must stay inside its limit".to_owned(),
        };
        Err(format!("reads {}, {wanted}", wording::answer(answer, &self.read.unit)))
    }

    fn summary(&self, tally: &Tally) -> Event {
        let point = self.read.point.clone();
        match self.kind {
            TripKind::Interlock => Event::Interlock {
                name: point,
                held: true,
                checks: tally.checks,
                detail: tally.said(self),
            },
            TripKind::Protection => Event::Protection {
                point,
                held: true,
                checks: tally.checks,
                detail: tally.range(self),
            },
        }
    }
}

impl Tally {
    /// Counts and extremes since the last event; when it was last found good stays known.
    fn take(&mut self) -> Self {
        let good_at = self.good_at;
        std::mem::replace(
            self,
            Self {
                good_at,
                ..Self::default()
            },
        )
    }

    fn saw(&mut self, guard: &Guard, answer: Answer) {
        self.good_at = Some(answer.taken.0);
        if let (Wanted::Inside(_), Ok(seen)) = (&guard.wanted, &answer.datum) {
            self.reached(seen.value.si(), || wording::answer(&answer, &guard.read.unit));
        }
        self.last = Some(answer);
    }

    fn reached(&mut self, si: f64, words: impl Fn() -> String) {
        let here = || Extreme { si, words: words() };
        let (lowest, highest) = self.extremes.take().unwrap_or_else(|| (here(), here()));
        let lowest = if si < lowest.si { here() } else { lowest };
        let highest = if si > highest.si { here() } else { highest };
        self.extremes = Some((lowest, highest));
    }

    /// The last answer; nothing where there was none.
    fn said(&self, guard: &Guard) -> String {
        let last = self.last.as_ref();
        last.map(|answer| wording::answer(answer, &guard.read.unit))
            .unwrap_or_default()
    }

    fn range(&self, guard: &Guard) -> String {
        match &self.extremes {
            Some((low, high)) if low.words == high.words => format!("always {}", low.words),
            Some((low, high)) => format!("between {} and {}", low.words, high.words),
            None => self.said(guard),
        }
    }
}
