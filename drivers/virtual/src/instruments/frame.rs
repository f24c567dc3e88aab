//! One instrument around its model: a line becomes orders, each is executed at its time, the reply is put together.

use super::common::{self, Circumstances, Common};
use super::reply::Answer;
use super::responder::{Outcome, Pending, Responder};
use super::status::Status;
use super::syntax::{Unit, ends_line};
use crate::physics::SharedWorld;
use crate::physics::World;
use pilotage_core::RunTime;
use scpi::error::{Error, ErrorCode};
use scpi::parser::format::{Arbitrary, Character};
use scpi::parser::response::Formatter;
use std::collections::VecDeque;
use std::sync::{MutexGuard, PoisonError};
use std::time::Duration;

/// Execution time of a common command.
const COMMON_TAKES: Duration = Duration::from_millis(1);
/// Execution time of `*RST`.
const RESET_TAKES: Duration = Duration::from_millis(20);

/// When an order is executed: a reading covers the end of `from`…`to`; a setting takes effect at `now`, which is not
/// before `to`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Span {
    /// End of the time that was planned for it.
    pub(crate) to: RunTime,
    /// The moment of execution.
    pub(crate) now: RunTime,
}

impl Span {
    /// The aperture of this length that ends at `to`.
    pub(crate) fn aperture(self, length: Duration) -> (RunTime, RunTime) {
        (before(self.to, length), self.to)
    }
}

/// A time earlier than another, but not before the start.
pub(crate) fn before(time: RunTime, length: Duration) -> RunTime {
    RunTime(time.0.saturating_sub(RunTime::START.plus(length).0))
}

/// What is particular to one kind of instrument.
pub(crate) trait Model {
    /// What it can be told.
    type Order: Clone;
    /// Field 2 of `*IDN?`.
    const NAME: &'static str;
    /// Reads a line into orders.
    fn read(line: &[u8]) -> Vec<Unit<Self::Order>>;
    /// Execution time of an order, aperture included.
    fn takes(&self, order: &Self::Order) -> Duration;
    /// Busy time after an order has taken effect.
    fn settles(&self, _order: &Self::Order) -> Duration {
        Duration::ZERO
    }
    /// Does a part of a long order's work beforehand; true while there is more. Between parts other users of the world get
    /// their turn: a guard that is asked every 50 ms must not wait for a million samples.
    fn prepare(&mut self, _order: &Self::Order, _now: RunTime, _world: &mut World) -> bool {
        false
    }
    /// Executes an order.
    fn execute(&mut self, order: Self::Order, span: Span, world: &mut World) -> Result<Answer, Error>;
    /// `*RST`
    fn reset(&mut self, now: RunTime, world: &mut World);
    /// When what runs in the background ends.
    fn busy_until(&self) -> RunTime {
        RunTime::START
    }
}

/// An instrument.
pub(crate) struct Instrument<M: Model> {
    model: M,
    serial: String,
    world: SharedWorld,
    status: Status,
    completion_wanted: bool,
    job: Option<Job<M::Order>>,
    /// The last line that came, and what it says: a guard is asked the same all the time.
    before: (Vec<u8>, Vec<Unit<M::Order>>),
}

/// A line being executed.
struct Job<O> {
    units: VecDeque<Unit<O>>,
    ready: RunTime,
    reply: Vec<u8>,
}

impl<M: Model> Instrument<M> {
    /// As after power on.
    pub(crate) fn new(model: M, serial: &str, world: SharedWorld) -> Self {
        Self {
            model,
            serial: serial.to_owned(),
            world,
            status: Status::power_on(),
            completion_wanted: false,
            job: None,
            before: (Vec::new(), M::read(b"")),
        }
    }

    fn takes(&self, unit: Option<&Unit<M::Order>>, at: RunTime) -> Duration {
        match unit {
            None => Duration::ZERO,
            Some(Unit::Own(order)) => self.model.takes(order),
            Some(Unit::Pause(length)) => *length,
            Some(Unit::Common(Common::Reset)) => RESET_TAKES,
            Some(Unit::Common(Common::AskCompletion | Common::Wait)) => {
                self.model.busy_until().since(at).max(COMMON_TAKES)
            }
            Some(Unit::Common(_) | Unit::Fault(_)) => COMMON_TAKES,
        }
    }

    /// Whether the first unit of a job has more work to do before it can be executed.
    fn prepare(&mut self, job: &Job<M::Order>, now: RunTime) -> bool {
        match job.units.front() {
            Some(Unit::Own(order)) => self.model.prepare(order, now, &mut locked(&self.world)),
            _ => false,
        }
    }

    /// Executes the first unit of a job.
    fn execute(&mut self, job: &mut Job<M::Order>, now: RunTime) -> Result<Answer, Error> {
        let span = Span { to: job.ready, now };
        match job.units.pop_front() {
            None | Some(Unit::Pause(_)) => Ok(Answer::Nothing),
            Some(Unit::Fault(error)) => Err(error),
            Some(Unit::Own(order)) => {
                let settles = self.model.settles(&order);
                if !settles.is_zero() {
                    job.units.push_front(Unit::Pause(settles));
                }
                let world = self.world.clone();
                self.model.execute(order, span, &mut locked(&world))
            }
            Some(Unit::Common(order)) => {
                if order == Common::Reset {
                    self.model.reset(now, &mut locked(&self.world));
                }
                let about = Circumstances {
                    model: M::NAME,
                    serial: &self.serial,
                    busy_until: self.model.busy_until(),
                    now,
                    available: !job.reply.is_empty(),
                };
                Ok(common::execute(
                    order,
                    &mut self.status,
                    &mut self.completion_wanted,
                    &about,
                ))
            }
        }
    }

    /// Executes what is due; true where the line is done.
    fn step(&mut self, job: &mut Job<M::Order>, now: RunTime) -> bool {
        let done = self.execute(job, now).and_then(|answer| write(&mut job.reply, &answer));
        if let Err(error) = done {
            self.status.fault(error);
            // After a command error there is no more to execute, and no half reply is sent; after another error the
            // line goes on, so that an error query at its end tells what happened.
            if ends_line(error) {
                job.units.clear();
                job.reply.clear();
            }
        }
        job.ready = now.plus(self.takes(job.units.front(), now));
        job.units.is_empty()
    }
}

impl<M: Model> Responder for Instrument<M> {
    fn respond(&mut self, line: &[u8], now: RunTime) -> Pending {
        if self.job.take().is_some() {
            self.status.fault(ErrorCode::QueryInterrupted.into());
        }
        if self.before.0 != line {
            self.before = (line.to_vec(), M::read(line));
        }
        let units = VecDeque::from(self.before.1.clone());
        let ready = now.plus(self.takes(units.front(), now));
        self.job = Some(Job {
            units,
            ready,
            reply: Vec::new(),
        });
        Pending { ready }
    }

    fn finish(&mut self, now: RunTime) -> Outcome {
        let Some(mut job) = self.job.take() else {
            return Outcome::Done(Vec::new());
        };
        while now >= job.ready {
            if self.prepare(&job, now) {
                break;
            }
            if self.step(&mut job, now) {
                if !job.reply.is_empty() {
                    job.reply.push(b'\n');
                }
                return Outcome::Done(job.reply);
            }
        }
        let ready = job.ready;
        self.job = Some(job);
        Outcome::Pending(Pending { ready })
    }
}

/// Writes one unit of a reply (IEEE 488.2 8.4: units are separated by `;`).
fn write(reply: &mut Vec<u8>, answer: &Answer) -> Result<(), Error> {
    match answer {
        Answer::Nothing => Ok(()),
        Answer::Text(text) => reply.response_unit()?.data(Character(text.as_bytes())).finish(),
        Answer::Block(bytes) => reply.response_unit()?.data(Arbitrary(bytes)).finish(),
    }
}

/// The world, also where another user of it has panicked: its state is still what was last computed.
fn locked(world: &SharedWorld) -> MutexGuard<'_, World> {
    world.lock().unwrap_or_else(PoisonError::into_inner)
}
