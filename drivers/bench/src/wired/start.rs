//! Who is there, and empty error queues.

use super::open::{Talk, Wired};
use crate::actor::{Done, Message};
use crate::interpret::texts::joined;
use crate::scpi::{Entry, Names, Refused};
use futures_util::future::join_all;
use pilotage_evidence::event::Exchange;
use pilotage_run::world::{BenchError, Identity, Lane};
use std::time::Duration;

/// Most entries that are read from one error queue.
const MOST_ENTRIES: usize = 30;
/// A reset may take much longer than any other command.
const RESET_WITHIN: Duration = Duration::from_secs(30);

impl<C> Wired<C> {
    pub(super) async fn identify_all(&self) -> Result<Vec<Identity>, BenchError> {
        join_all(self.handles.keys().map(|name| self.identify_one(name)))
            .await
            .into_iter()
            .collect()
    }

    /// An instrument that is not the expected one is asked nothing more and told nothing.
    async fn identify_one(&self, name: &str) -> Result<Identity, BenchError> {
        let mut talk = self.talk(name, Lane::Work)?;
        let done = talk.ask("*IDN?").await?;
        let names = Names::parse(&done.reply)
            .map_err(|refused: Refused| talk.fail("*IDN?", &done, |about| about.refused(&refused)))?;
        let expected = names.model.contains(&talk.table.model) && names.serial == talk.table.serial;
        if expected {
            talk.start("*CLS").await?;
            for line in &talk.table.start {
                talk.start(line).await?;
            }
        }
        Ok(Identity {
            instrument: name.to_owned(),
            reply: crate::scpi::text::escaped(&done.reply),
            expected,
        })
    }

    pub(super) async fn drain_used(&self) -> Result<Vec<Exchange>, BenchError> {
        let used = std::mem::take(&mut *self.used.borrow_mut());
        let drained = join_all(used.iter().map(|name| self.drain_one(name))).await;
        self.used.borrow_mut().clear();
        let mut exchanges = Vec::new();
        let mut failed: Option<BenchError> = None;
        for result in drained {
            match (result, &mut failed) {
                (Ok(mut own), _) => exchanges.append(&mut own),
                (Err(error), None) => failed = Some(error),
                (Err(mut error), Some(first)) => first.exchanges.append(&mut error.exchanges),
            }
        }
        match failed {
            None => Ok(exchanges),
            Some(error) => Err(crate::trouble::after(exchanges, error)),
        }
    }

    async fn drain_one(&self, name: &str) -> Result<Vec<Exchange>, BenchError> {
        let mut talk = self.talk(name, Lane::Work)?;
        let query = &talk.table.errors;
        let mut entries = Vec::new();
        loop {
            let done = talk.ask(query).await?;
            let entry = talk.entry(query, &done)?;
            if entry.is_none() && entries.is_empty() {
                return Ok(talk.exchanges);
            }
            let last = entry.is_none();
            if !last {
                entries.push(entry);
            }
            if last || entries.len() == MOST_ENTRIES {
                return Err(talk.fail(query, &done, |about| about.entries(&entries)));
            }
        }
    }
}

impl Talk<'_> {
    /// Sends a start message with the error query at its end.
    async fn start(&mut self, line: &str) -> Result<(), BenchError> {
        let asks = line.contains('?');
        let text = if asks {
            line.to_owned()
        } else {
            joined([line, &self.table.errors])
        };
        let done = self
            .send(Message::query(&text, RESET_WITHIN.max(self.table.deadline)))
            .await?;
        if asks { Ok(()) } else { self.no_error(&text, &done) }
    }

    /// The error query's reply.
    pub(super) fn entry(&mut self, text: &str, done: &Done) -> Result<Entry, BenchError> {
        self.read(text, done, |reply| {
            Entry::from_elements(reply.list()?).ok_or_else(|| {
                reply.refuse(
                    "a code and a string, e.g. 0,\"No error\"",
                    "check the driver's `errors` query",
                )
            })
        })
    }

    /// Refuses a command whose error query answers anything but 0.
    pub(super) fn no_error(&mut self, text: &str, done: &Done) -> Result<(), BenchError> {
        let entry = self.entry(text, done)?;
        if entry.is_none() {
            return Ok(());
        }
        Err(self.fail(text, done, |about| about.entries(&[entry])))
    }
}
