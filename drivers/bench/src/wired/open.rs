//! Putting it together, and the exchanges that all others use.

use crate::actor::{Done, Handle, Message, Permission};
use crate::interpret::tables::{InstrumentTable, Service};
use crate::interpret::{Problem, Tables};
use crate::link::{Link, Now};
use crate::scpi::{Refused, Reply};
use crate::trouble::{About, after};
use pilotage_evidence::event::Exchange;
use pilotage_plan::files::bench::BenchFile;
use pilotage_plan::files::driver::DriverFile;
use pilotage_plan::program::Program;
use pilotage_run::world::{BenchError, Clock, Lane};
use std::cell::{Cell, RefCell};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Duration;

/// A bench over links. It lives on one thread; its instruments' tasks run on the tokio runtime that it was opened on.
pub struct Wired<C> {
    pub(super) tables: Tables,
    pub(super) handles: BTreeMap<String, Handle>,
    pub(super) clock: Arc<C>,
    /// Instruments used since the last drain.
    pub(super) used: RefCell<BTreeSet<String>>,
    /// Captures that were armed, by instrument.
    pub(super) armed: RefCell<BTreeMap<String, super::capture::Armed>>,
    readings: Cell<u64>,
}

impl<C: Clock + Send + Sync + 'static> Wired<C> {
    /// Compiles the files, checks them against the program, and starts a task for each instrument. To be called within a
    /// tokio runtime. `links` holds one link for each instrument of the bench file, by its name.
    pub fn open<'a>(
        program: &Program,
        bench: &BenchFile,
        drivers: impl IntoIterator<Item = &'a DriverFile>,
        links: BTreeMap<String, Box<dyn Link>>,
        clock: Arc<C>,
    ) -> Result<Self, Vec<Problem>> {
        let tables = Tables::compile(bench, drivers)?;
        let problems = tables.check(program);
        if !problems.is_empty() {
            return Err(problems);
        }
        Self::from_tables(tables, links, clock)
    }

    /// As `open`, from tables that serve the program.
    pub fn from_tables(
        tables: Tables,
        mut links: BTreeMap<String, Box<dyn Link>>,
        clock: Arc<C>,
    ) -> Result<Self, Vec<Problem>> {
        let source = Arc::clone(&clock);
        let now: Now = Arc::new(move || source.now());
        let mut problems = Vec::new();
        let mut handles = BTreeMap::new();
        for (name, table) in &tables.instruments {
            match links.remove(name) {
                Some(link) => {
                    handles.insert(
                        name.clone(),
                        Handle::start(name, link, Arc::clone(&now), table.deadline),
                    );
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
            tables,
            handles,
            clock,
            used: RefCell::default(),
            armed: RefCell::default(),
            readings: Cell::new(0),
        })
    }
}

impl<C> Wired<C> {
    /// Counts readings.
    pub(super) fn next_reading(&self) -> u64 {
        self.readings.update(|count| count + 1);
        self.readings.get()
    }

    /// What serves a point.
    pub(super) fn service(&self, point: &str) -> Result<&Service, BenchError> {
        self.tables.service(point).map_err(|problem| unserved(&problem))
    }

    /// A conversation with one instrument.
    pub(super) fn talk(&self, instrument: &str, lane: Lane) -> Result<Talk<'_>, BenchError> {
        let (Some(table), Some(handle)) = (self.tables.instruments.get(instrument), self.handles.get(instrument))
        else {
            let problem = Problem::new(
                instrument,
                "no such instrument on this bench",
                "add it to the bench file",
            );
            return Err(unserved(&problem));
        };
        self.used.borrow_mut().insert(instrument.to_owned());
        Ok(Talk {
            table,
            handle,
            lane,
            exchanges: Vec::new(),
        })
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
    pub(super) lane: Lane,
    pub(super) exchanges: Vec<Exchange>,
}

impl Talk<'_> {
    /// Asks, within the instrument's deadline.
    pub(super) async fn ask(&mut self, text: &str) -> Result<Done, BenchError> {
        self.send(Message::query(text, self.table.deadline)).await
    }

    /// Asks something that energises.
    pub(super) async fn ask_permitted(
        &mut self,
        text: &str,
        permission: Option<Permission>,
    ) -> Result<Done, BenchError> {
        let message = Message::query(text, self.table.deadline);
        self.send(Message { permission, ..message }).await
    }

    pub(super) async fn send(&mut self, message: Message) -> Result<Done, BenchError> {
        match self.handle.exchange(self.lane, message).await {
            Ok((done, mut exchanges)) => {
                self.exchanges.append(&mut exchanges);
                Ok(done)
            }
            Err(error) => Err(after(std::mem::take(&mut self.exchanges), error)),
        }
    }

    /// Interprets a reply. A reply that is refused may belong to another question, so the link is made sure before the next.
    pub(super) fn read<T>(
        &mut self,
        text: &str,
        done: &Done,
        read: impl FnOnce(&Reply<'_>) -> Result<T, Refused>,
    ) -> Result<T, BenchError> {
        Reply::parse(&done.reply)
            .and_then(|reply| read(&reply))
            .map_err(|refused| {
                self.handle.distrust();
                self.fail(text, done, |about| about.refused(&refused))
            })
    }

    /// An error about an exchange, with all exchanges until then.
    pub(super) fn fail(&mut self, text: &str, done: &Done, error: impl FnOnce(&About<'_>) -> BenchError) -> BenchError {
        let about = About {
            instrument: self.handle.instrument(),
            command: text,
            elapsed: done.ended.since(done.began),
        };
        after(std::mem::take(&mut self.exchanges), error(&about))
    }
}
