//! Who is there, and empty error queues.

use super::open::{Instrument, Talk, Wired};
use crate::actor::{Done, Message};
use crate::interpret::texts::joined;
use crate::scpi::number::integer;
use crate::scpi::{Entry, Line, Names, Refused};
use futures_util::future::join_all;
use pilotage_evidence::event::Exchange;
use pilotage_run::world::{BenchError, Identity, Lane, Queues};
use std::time::Duration;

/// Most entries that are read from one error queue.
const MOST_ENTRIES: usize = 30;
/// A reset may take much longer than any other command.
const RESET_WITHIN: Duration = Duration::from_secs(30);

impl<C> Wired<C> {
    pub(super) async fn identify_all(&self) -> Result<Vec<Identity>, BenchError> {
        join_all(
            self.instruments
                .iter()
                .map(|(name, instrument)| identify(name, instrument)),
        )
        .await
        .into_iter()
        .collect()
    }

    pub(super) async fn drain_queues(&self, queues: Queues) -> Result<Vec<Exchange>, BenchError> {
        let due: Vec<(&Instrument, Vec<Line>)> = self
            .instruments
            .values()
            .filter_map(|instrument| Some((instrument, instrument.due(queues)?)))
            .collect();
        if due.is_empty() {
            return Ok(Vec::new());
        }
        let drained = join_all(due.into_iter().map(|(instrument, sent)| drain(instrument, sent))).await;
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
}

impl Instrument {
    /// What it was asked since its queue was last looked at, where that is to be looked at now.
    fn due(&self, queues: Queues) -> Option<Vec<Line>> {
        let mut asked = self.asked.borrow_mut();
        let due = match queues {
            Queues::OfAct => asked.in_act,
            Queues::OfStep => std::mem::take(&mut asked.used),
        };
        due.then(|| asked.looked())
    }
}

/// An instrument that is not the expected one is asked nothing more and told nothing.
async fn identify(name: &str, instrument: &Instrument) -> Result<Identity, BenchError> {
    let mut talk = Talk::new(instrument, Lane::Work);
    let line = Line::from("*IDN?");
    let done = talk.send(Message::query(&line, talk.table.deadline)).await?;
    let names = Names::parse(&done.reply)
        .map_err(|refused: Refused| talk.fail(&line, &done, |about| about.refused(&refused)))?;
    let expected = names.model.contains(&talk.table.model) && names.serial == talk.table.serial;
    if expected {
        talk.start("*CLS").await?;
        for line in &talk.table.start {
            talk.start(line.text()).await?;
        }
        talk.all_done().await?;
    }
    Ok(Identity {
        instrument: name.to_owned(),
        reply: crate::scpi::text::escaped(&done.reply),
        expected,
    })
}

/// Empties a queue; what was in it came of one of the messages that were sent.
async fn drain(instrument: &Instrument, sent: Vec<Line>) -> Result<Vec<Exchange>, BenchError> {
    let mut talk = Talk::new(instrument, Lane::Work);
    let query = &talk.table.errors;
    let mut entries = Vec::new();
    loop {
        let done = talk.send_only(Message::query(query, talk.table.deadline)).await?;
        let entry = talk.entry(query, &done)?;
        if entry.is_none() && entries.is_empty() {
            return Ok(talk.exchanges);
        }
        let last = entry.is_none();
        if !last {
            entries.push(entry);
        }
        if last || entries.len() == MOST_ENTRIES {
            return Err(talk.found(query, &done, &sent, &entries));
        }
    }
}

impl Talk<'_> {
    /// Sends a start message with the error query at its end.
    async fn start(&mut self, text: &str) -> Result<(), BenchError> {
        let asks = text.contains('?');
        let line = if asks {
            Line::from(text)
        } else {
            joined([text, self.table.errors.text()]).as_str().into()
        };
        let done = self.send_slow(&line).await?;
        if asks { Ok(()) } else { self.no_error(&line, &done) }
    }

    /// Nothing that was started goes on any more (IEEE 488.2, 12.5.3): a reset may be answered before it is done.
    async fn all_done(&mut self) -> Result<(), BenchError> {
        let line = Line::from("*OPC?");
        let done = self.send_slow(&line).await?;
        self.read(&line, &done, |reply| match integer(reply.word()?)? {
            1 => Ok(()),
            _ => Err(reply.refuse("1", "*OPC? answers 1 when everything is done: check the link")),
        })
    }

    async fn send_slow(&mut self, line: &Line) -> Result<Done, BenchError> {
        self.send(Message::query(line, RESET_WITHIN.max(self.table.deadline)))
            .await
    }

    /// The error query's reply.
    pub(super) fn entry(&mut self, line: &Line, done: &Done) -> Result<Entry, BenchError> {
        self.read(line, done, Entry::read)
    }

    /// Refuses a command whose error query answers anything but 0.
    pub(super) fn no_error(&mut self, line: &Line, done: &Done) -> Result<(), BenchError> {
        let entry = self.entry(line, done)?;
        let sent = self.asked.borrow_mut().looked();
        if entry.is_none() {
            return Ok(());
        }
        Err(self.found(line, done, &sent, &[entry]))
    }
}
