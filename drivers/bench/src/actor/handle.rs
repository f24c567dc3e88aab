//! Whose turn it is at an instrument.
//!
//! Who finds the instrument at rest drives its own exchange, without a task between (a switch of tasks costs as much as the
//! exchange itself). As soon as somebody else wants the instrument, or who drives goes away, the exchange is handed over to a
//! task, which brings it to its end and serves all that wait: so nobody waits for a future that nobody polls.

use super::exchange::Actor;
use super::message::{Message, Outcome};
use crate::link::{Link, Now};
use crate::scpi::Line;
use crate::trouble::About;
use pilotage_run::world::{BenchError, Lane};
use std::collections::VecDeque;
use std::future::Future;
use std::pin::Pin;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, Weak};
use std::task::{Context, Poll, Waker};
use std::time::Duration;
use tokio::sync::oneshot;

/// The way to an instrument. The link is closed when the last handle is gone and nothing goes on any more.
#[derive(Clone)]
pub struct Handle {
    shared: Arc<Shared>,
}

/// An exchange that goes on; it gives the instrument back with its outcome.
type Underway = Pin<Box<dyn Future<Output = (Box<Held>, Outcome)> + Send>>;

struct Shared {
    instrument: Arc<str>,
    distrusted: Arc<AtomicBool>,
    turns: Mutex<Turns>,
}

/// The instrument's own side. Whoever has it gives it back; where it is dropped instead (a panic, the end of a runtime), nobody
/// can speak with the instrument any more, and nobody may wait for it.
struct Held {
    actor: Actor,
    shared: Weak<Shared>,
}

impl Drop for Held {
    fn drop(&mut self) {
        // None where the last handle went away before: then nobody waits.
        if let Some(shared) = self.shared.upgrade() {
            shared.lose();
        }
    }
}

struct Turns {
    /// Whether the instrument's own side is gone for good.
    lost: bool,
    /// The instrument at rest; `None` while an exchange goes on.
    resting: Option<Box<Held>>,
    /// The exchange that goes on, where who asked drives it.
    driven: Option<Arc<Flight>>,
    guard: VecDeque<Job>,
    work: VecDeque<Job>,
}

/// A message that waits.
struct Job {
    lane: Lane,
    message: Message,
    outcome: oneshot::Sender<Outcome>,
}

/// An exchange that who asked drives, until it is handed over.
struct Flight {
    /// Whether who asked went away.
    gone: AtomicBool,
    flying: Mutex<Flying>,
}

enum Flying {
    Driven { exchange: Underway, waker: Option<Waker> },
    HandedOver(oneshot::Receiver<Outcome>),
    Ended,
}

/// How a message begins.
enum Begun {
    Driving(Arc<Flight>),
    Waiting(oneshot::Receiver<Outcome>, Line),
}

impl Handle {
    /// Around a link. `recovery` bounds each phase of making the link usable again.
    pub fn new(instrument: &str, link: Box<dyn Link>, now: Now, recovery: Duration) -> Self {
        let distrusted = Arc::new(AtomicBool::new(false));
        let actor = Actor::new(instrument.into(), link, now, recovery, Arc::clone(&distrusted));
        let shared = Arc::new_cyclic(|shared| {
            let held = Held {
                actor,
                shared: Weak::clone(shared),
            };
            Shared {
                instrument: instrument.into(),
                distrusted,
                turns: Mutex::new(Turns {
                    lost: false,
                    resting: Some(Box::new(held)),
                    driven: None,
                    guard: VecDeque::new(),
                    work: VecDeque::new(),
                }),
            }
        });
        Self { shared }
    }

    /// The instrument's name within the bench.
    pub fn instrument(&self) -> &str {
        &self.shared.instrument
    }

    /// Sends a message and waits for its outcome. May be cancelled at any time. To be awaited within a tokio runtime.
    pub async fn exchange(&self, lane: Lane, message: Message) -> Outcome {
        match self.begin(lane, message) {
            Begun::Driving(flight) => {
                let shared = &self.shared;
                Driving { shared, flight }.await
            }
            Begun::Waiting(outcome, line) => outcome
                .await
                .unwrap_or_else(|_| Err(self.shared.task_ended(line.text()))),
        }
    }

    /// Says that a reply made no sense: question and answer may be out of step, so the link is made sure before the next.
    pub fn distrust(&self) {
        self.shared.distrusted.store(true, Ordering::SeqCst);
    }

    /// Gives back the buffer of a reply with a large block, for the next one.
    pub fn recycle(&self, reply: Vec<u8>) {
        if let Some(held) = &mut self.shared.turns().resting {
            held.actor.recycle(reply);
        }
    }

    fn begin(&self, lane: Lane, message: Message) -> Begun {
        let mut turns = self.shared.turns();
        if let Some(actor) = turns.resting.take() {
            let flight = Flight::of(actor, lane, message);
            turns.driven = Some(Arc::clone(&flight));
            return Begun::Driving(flight);
        }
        let (outcome, waiting) = oneshot::channel();
        let line = message.line.clone();
        if turns.lost {
            // Nobody keeps the sender: the wait ends at once.
            return Begun::Waiting(waiting, line);
        }
        let queue = match lane {
            Lane::Guard => &mut turns.guard,
            Lane::Work => &mut turns.work,
        };
        queue.push_back(Job { lane, message, outcome });
        let driven = turns.driven.take();
        drop(turns);
        if let Some(flight) = driven {
            self.shared.hand_over(&flight);
        }
        Begun::Waiting(waiting, line)
    }
}

impl Shared {
    fn turns(&self) -> MutexGuard<'_, Turns> {
        self.turns.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The next that waits, guard before work; where nobody does, the instrument rests.
    fn next(&self, actor: Box<Held>) -> Option<(Box<Held>, Job)> {
        let mut turns = self.turns();
        turns.driven = None;
        let job = turns.guard.pop_front().or_else(|| turns.work.pop_front());
        if let Some(job) = job {
            return Some((actor, job));
        }
        turns.resting = Some(actor);
        None
    }

    /// The instrument's own side is gone: who waits is told at once, and so is everybody who comes later.
    fn lose(&self) {
        let mut turns = self.turns();
        turns.lost = true;
        let waiting = (
            turns.driven.take(),
            std::mem::take(&mut turns.guard),
            std::mem::take(&mut turns.work),
        );
        drop(turns);
        drop(waiting);
    }

    /// A task drives the exchange from here on. Outside of a runtime nothing can be awaited: there the link is closed, and
    /// every later exchange is refused.
    fn hand_over(self: &Arc<Self>, flight: &Flight) {
        let mut flying = flight.flying();
        if !matches!(*flying, Flying::Driven { .. }) {
            return;
        }
        let (outcome, waiting) = oneshot::channel();
        let Flying::Driven { exchange, waker } = std::mem::replace(&mut *flying, Flying::HandedOver(waiting)) else {
            return;
        };
        drop(flying);
        if let Ok(runtime) = tokio::runtime::Handle::try_current() {
            runtime.spawn(finish(Arc::clone(self), exchange, outcome));
        }
        if let Some(waker) = waker {
            waker.wake();
        }
    }

    /// An exchange has ended where it was driven. Somebody may have come meanwhile on another thread.
    fn rest(self: &Arc<Self>, actor: Box<Held>) {
        if let Some((actor, job)) = self.next(actor) {
            tokio::spawn(serve(Arc::clone(self), actor, job));
        }
    }

    fn task_ended(&self, text: &str) -> BenchError {
        About {
            instrument: &self.instrument,
            command: text,
            elapsed: Duration::ZERO,
        }
        .error("the instrument's task", "it has ended", "start the run again")
    }
}

/// Brings an exchange to its end, then serves all that wait. The waiter may be gone.
async fn finish(shared: Arc<Shared>, exchange: Underway, outcome: oneshot::Sender<Outcome>) {
    let (actor, result) = exchange.await;
    let _ = outcome.send(result);
    if let Some((actor, job)) = shared.next(actor) {
        serve(shared, actor, job).await;
    }
}

/// Serves until nobody waits any more. What nobody waits for any more is not sent.
async fn serve(shared: Arc<Shared>, mut actor: Box<Held>, mut job: Job) {
    loop {
        if !job.outcome.is_closed() {
            let result = {
                let wanted = || !job.outcome.is_closed();
                actor.actor.perform(job.lane, &job.message, &wanted).await
            };
            let _ = job.outcome.send(result);
        }
        match shared.next(actor) {
            Some(next) => (actor, job) = next,
            None => return,
        }
    }
}

impl Flight {
    fn of(actor: Box<Held>, lane: Lane, message: Message) -> Arc<Self> {
        let flight = Arc::new(Self {
            gone: AtomicBool::new(false),
            flying: Mutex::new(Flying::Ended),
        });
        // The exchange refers back to its flight; the circle is broken when the exchange ends or is handed over.
        let exchange = Box::pin(alone(actor, lane, message, Arc::clone(&flight)));
        *flight.flying() = Flying::Driven { exchange, waker: None };
        flight
    }

    fn flying(&self) -> MutexGuard<'_, Flying> {
        self.flying.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

async fn alone(mut actor: Box<Held>, lane: Lane, message: Message, flight: Arc<Flight>) -> (Box<Held>, Outcome) {
    let wanted = || !flight.gone.load(Ordering::SeqCst);
    let outcome = actor.actor.perform(lane, &message, &wanted).await;
    (actor, outcome)
}

/// Drives an exchange as long as it is not handed over.
struct Driving<'a> {
    shared: &'a Arc<Shared>,
    flight: Arc<Flight>,
}

impl Future for Driving<'_> {
    type Output = Outcome;

    fn poll(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Outcome> {
        let mut flying = self.flight.flying();
        // Taken out while it is polled: after a panic nothing is left that anybody could hand over.
        match std::mem::replace(&mut *flying, Flying::Ended) {
            Flying::Driven {
                mut exchange,
                mut waker,
            } => match exchange.as_mut().poll(context) {
                Poll::Ready((actor, outcome)) => {
                    drop(flying);
                    self.shared.rest(actor);
                    Poll::Ready(outcome)
                }
                Poll::Pending => {
                    match &mut waker {
                        Some(waker) => waker.clone_from(context.waker()),
                        None => waker = Some(context.waker().clone()),
                    }
                    *flying = Flying::Driven { exchange, waker };
                    Poll::Pending
                }
            },
            Flying::HandedOver(mut waiting) => match Pin::new(&mut waiting).poll(context) {
                Poll::Ready(result) => {
                    let ended = |_| Err(self.shared.task_ended("the exchange that was handed over"));
                    Poll::Ready(result.unwrap_or_else(ended))
                }
                Poll::Pending => {
                    *flying = Flying::HandedOver(waiting);
                    Poll::Pending
                }
            },
            // A future that has ended is not polled again.
            Flying::Ended => Poll::Pending,
        }
    }
}

impl Drop for Driving<'_> {
    fn drop(&mut self) {
        self.flight.gone.store(true, Ordering::SeqCst);
        self.shared.hand_over(&self.flight);
    }
}
