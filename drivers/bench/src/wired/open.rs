//! Putting it together, and the exchanges that all others use.

use crate::actor::{Done, Handle, Message};
use crate::interpret::tables::{InstrumentTable, Query, Service};
use crate::interpret::{Orders, Problem, Tables};
use crate::link::{Link, Now};
use crate::scpi::{Entry, Line, Refused, Reply};
use crate::trouble::{About, after};
use pilotage_core::frames::Life;
use pilotage_evidence::event::{Exchange, Trouble};
use pilotage_plan::files::bench::BenchFile;
use pilotage_plan::files::driver::DriverFile;
use pilotage_plan::program::Program;
use pilotage_run::world::{BenchError, Clock, Lane};
use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

/// A bench over links. It lives on one thread.
pub struct Wired<C> {
    services: BTreeMap<String, Service>,
    pub(super) orders: Orders,
    pub(super) instruments: BTreeMap<String, Instrument>,
    pub(super) clock: Arc<C>,
    /// Captures that were armed, by instrument.
    pub(super) armed: RefCell<BTreeMap<String, super::capture::Armed>>,
    readings: Cell<u64>,
    /// Shown to what sends by itself.
    pub(super) life: Life,
}

/// One instrument of it.
pub(super) struct Instrument {
    pub(super) table: InstrumentTable,
    pub(super) handle: Handle,
    pub(super) asked: RefCell<Asked>,
}

/// What an instrument was sent since its error queue was last looked at.
#[derive(Default)]
pub(super) struct Asked {
    /// The last few different messages: an error in the queue came of one of them, and of which of them it does not say.
    pub(super) since: Vec<Line>,
    /// Whether the act that goes on asked something, so that the queue is looked at when it ends.
    pub(super) in_act: bool,
    /// Anything at all since a step last ended.
    pub(super) used: bool,
    /// What a look behind the last query of an act found: every answer of that act is in doubt.
    pub(super) found: Option<Box<Trouble>>,
}

impl Asked {
    const KEPT: usize = 4;

    fn add(&mut self, line: &Line) {
        self.used = true;
        if self.since.contains(line) {
            return;
        }
        if self.since.len() == Self::KEPT {
            self.since.remove(0);
        }
        self.since.push(line.clone());
    }

    /// The queue was looked at; what was sent until then is given back.
    pub(super) fn looked(&mut self) -> Vec<Line> {
        self.in_act = false;
        std::mem::take(&mut self.since)
    }
}

impl<C: Clock + Send + Sync + 'static> Wired<C> {
    /// Compiles the files, and every order that the program can send, to bytes; refuses a program that this bench cannot
    /// serve. `links` holds one link for each instrument of the bench file, by its name.
    pub fn open<'a>(
        program: &Program,
        bench: &BenchFile,
        drivers: impl IntoIterator<Item = &'a DriverFile>,
        links: BTreeMap<String, Box<dyn Link>>,
        clock: Arc<C>,
    ) -> Result<Self, Vec<Problem>> {
        let tables = Tables::compile(bench, drivers)?;
        let orders = tables.prepare(program)?;
        Self::from_tables(tables, orders, links, clock)
    }

    /// As `open`, from tables, and the orders that may be sent.
    pub fn from_tables(
        tables: Tables,
        orders: Orders,
        mut links: BTreeMap<String, Box<dyn Link>>,
        clock: Arc<C>,
    ) -> Result<Self, Vec<Problem>> {
        let source = Arc::clone(&clock);
        let now: Now = Arc::new(move || source.now());
        let mut problems = Vec::new();
        let mut instruments = BTreeMap::new();
        for (name, table) in tables.instruments {
            match links.remove(&name) {
                Some(link) => {
                    let handle = Handle::new(&name, link, Arc::clone(&now), table.deadline);
                    let asked = RefCell::default();
                    instruments.insert(name, Instrument { table, handle, asked });
                }
                None => problems.push(Problem::new(
                    name,
                    "no link leads to this instrument",
                    "open one before the bench",
                )),
            }
        }
        if !problems.is_empty() {
            return Err(problems);
        }
        Ok(Self {
            services: tables.services,
            orders,
            instruments,
            clock,
            armed: RefCell::default(),
            readings: Cell::new(0),
            life: Life::default(),
        })
    }
}

impl<C> Wired<C> {
    /// Shows its life here: whatever on its links sends by itself looks at it.
    #[must_use]
    pub fn living(self, life: Life) -> Self {
        Self { life, ..self }
    }

    /// Counts readings.
    pub(super) fn next_reading(&self) -> u64 {
        self.readings.update(|count| count + 1);
        self.readings.get()
    }

    /// What serves a point.
    pub(super) fn service(&self, point: &str) -> Result<&Service, BenchError> {
        self.services
            .get(point)
            .ok_or_else(|| unserved(&crate::interpret::demands::no_service(point)))
    }

    /// A conversation with one instrument.
    pub(super) fn talk(&self, instrument: &str, lane: Lane) -> Result<Talk<'_>, BenchError> {
        match self.instruments.get(instrument) {
            Some(instrument) => Ok(Talk::new(instrument, lane)),
            None => Err(unserved(&Problem::new(
                instrument,
                "no such instrument on this bench",
                "add it to the bench file",
            ))),
        }
    }
}

/// A problem of the files, met while running.
pub(super) fn unserved(problem: &Problem) -> BenchError {
    let about = About {
        instrument: "",
        command: &problem.place,
        elapsed: Duration::ZERO,
    };
    about.error(
        "an order or a reading that the bench serves",
        &problem.what,
        &problem.mend,
    )
}

/// A conversation with one instrument: keeps its exchanges, and gives them to every error.
pub(super) struct Talk<'a> {
    pub(super) table: &'a InstrumentTable,
    handle: &'a Handle,
    pub(super) asked: &'a RefCell<Asked>,
    pub(super) lane: Lane,
    pub(super) exchanges: Vec<Exchange>,
}

impl<'a> Talk<'a> {
    pub(super) fn new(instrument: &'a Instrument, lane: Lane) -> Self {
        Self {
            table: &instrument.table,
            handle: &instrument.handle,
            asked: &instrument.asked,
            lane,
            exchanges: Vec::new(),
        }
    }

    /// Asks, within the instrument's deadline; the error queue is looked at when the act ends. Guards ask many times a
    /// second, and make safe waits for nothing: their queues are looked at when the step ends.
    pub(super) async fn ask(&mut self, line: &Line, deadline: Option<Duration>) -> Result<Done, BenchError> {
        if self.lane == Lane::Work {
            self.asked.borrow_mut().in_act = true;
        }
        self.send(Message::query(line, deadline.unwrap_or(self.table.deadline)))
            .await
    }

    /// Sends a message that asks for errors itself, or whose reply tells enough.
    pub(super) async fn send(&mut self, message: Message) -> Result<Done, BenchError> {
        self.asked.borrow_mut().add(&message.line);
        self.send_only(message).await
    }

    /// Sends without a note that the instrument was used: the error query itself.
    pub(super) async fn send_only(&mut self, message: Message) -> Result<Done, BenchError> {
        match self.handle.exchange(self.lane, message).await {
            Ok((done, mut exchanges)) => {
                if self.exchanges.is_empty() {
                    self.exchanges = exchanges;
                } else {
                    self.exchanges.append(&mut exchanges);
                }
                Ok(done)
            }
            Err(error) => Err(after(std::mem::take(&mut self.exchanges), error)),
        }
    }

    /// Asks and reads the reply. Where this is the last query of an act, the errors are asked for in the same message, if
    /// the instrument allows it.
    pub(super) async fn query<T>(
        &mut self,
        query: &Query,
        last: bool,
        deadline: Option<Duration>,
        read: impl FnOnce(&Reply<'_>) -> Result<T, Refused>,
    ) -> Result<(T, Done), BenchError> {
        let Some(line) = query.with_errors.as_ref().filter(|_| last) else {
            let done = self.ask(&query.alone, deadline).await?;
            return Ok((self.read(&query.alone, &done, read)?, done));
        };
        let message = Message::query(line, deadline.unwrap_or(self.table.deadline));
        let done = self.send(message).await?;
        let value = self.read(line, &done, |reply| {
            let (answer, entry) = Entry::split(reply)?;
            Ok(if entry.is_none() {
                Ok(read(&answer)?)
            } else {
                Err(entry)
            })
        })?;
        let sent = self.asked.borrow_mut().looked();
        match value {
            Ok(value) => Ok((value, done)),
            Err(entry) => {
                let error = self.found(line, &done, &sent, &[entry]);
                self.asked.borrow_mut().found = Some(error.trouble.clone());
                Err(error)
            }
        }
    }

    /// What the queue held, looked at with `line` or behind it. Alone, that message caused it; else it is one of all that
    /// were sent since the queue was looked at before.
    pub(super) fn found(&mut self, line: &Line, done: &Done, sent: &[Line], entries: &[Entry]) -> BenchError {
        let several = if sent.len() > 1 || sent.first().is_some_and(|sent| sent != line) {
            sent
        } else {
            &[]
        };
        self.fail(line, done, |about| about.entries(several, entries))
    }

    /// Interprets a reply. A reply that is refused may belong to another question, so the link is made sure before the next.
    pub(super) fn read<T>(
        &mut self,
        line: &Line,
        done: &Done,
        read: impl FnOnce(&Reply<'_>) -> Result<T, Refused>,
    ) -> Result<T, BenchError> {
        Reply::parse(&done.reply)
            .and_then(|reply| read(&reply))
            .map_err(|refused| {
                self.handle.distrust();
                self.fail(line, done, |about| about.refused(&refused))
            })
    }

    /// Gives back the buffer of a reply that was read.
    pub(super) fn recycle(&self, done: Done) {
        self.handle.recycle(done.reply);
    }

    /// An error about an exchange, with all exchanges until then.
    pub(super) fn fail(
        &mut self,
        line: &Line,
        done: &Done,
        error: impl FnOnce(&About<'_>) -> BenchError,
    ) -> BenchError {
        let about = About {
            instrument: self.handle.instrument(),
            command: line.text(),
            elapsed: done.ended.since(done.began),
        };
        after(std::mem::take(&mut self.exchanges), error(&about))
    }
}
