//! Middleware that keeps every byte with its time.

use super::{Link, LinkError, Now, Pending, Reopened};
use crate::scpi::{Sink, text};
use pilotage_core::RunTime;
use std::fmt::Write;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::time::Instant;

/// Which way something went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// To the instrument.
    Sent,
    /// From the instrument.
    Received,
    /// Neither: the link was opened again, or failed.
    Event,
}

/// Bytes, or an event in words, with their time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Traffic {
    /// When.
    pub at: RunTime,
    /// Which way.
    pub way: Way,
    /// What.
    pub bytes: Vec<u8>,
}

/// What was traced, readable while the link is in use.
#[derive(Debug, Clone, Default)]
pub struct Tape(Arc<Mutex<Vec<Traffic>>>);

impl Tape {
    /// A copy of everything until now.
    pub fn lines(&self) -> Vec<Traffic> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// All bytes that were sent, one after the other.
    pub fn sent(&self) -> Vec<u8> {
        let lines = self.lines();
        lines
            .iter()
            .filter(|line| line.way == Way::Sent)
            .flat_map(|line| line.bytes.clone())
            .collect()
    }

    /// One line for each piece: nanoseconds, `>` sent, `<` received or `!` event, and the escaped bytes.
    pub fn to_text(&self) -> String {
        let mut out = String::new();
        for line in self.lines() {
            let mark = match line.way {
                Way::Sent => '>',
                Way::Received => '<',
                Way::Event => '!',
            };
            let _ = writeln!(out, "{} {mark} {}", line.at.0, text::escaped(&line.bytes));
        }
        out
    }

    fn push(&self, at: RunTime, way: Way, bytes: Vec<u8>) {
        let mut lines = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        lines.push(Traffic { at, way, bytes });
    }
}

/// A traced link.
pub struct Trace<L> {
    inner: L,
    now: Now,
    tape: Tape,
}

impl<L: Link> Trace<L> {
    /// Traces a link; the tape can be read at any time.
    pub fn new(inner: L, now: Now) -> (Self, Tape) {
        let tape = Tape::default();
        let trace = Self {
            inner,
            now,
            tape: tape.clone(),
        };
        (trace, tape)
    }

    fn event<T>(&self, result: &Result<T, LinkError>) {
        if let Err(error) = result {
            self.tape.push((self.now)(), Way::Event, error.to_string().into_bytes());
        }
    }
}

/// Passes bytes on and keeps a copy.
struct Tee<'a> {
    to: &'a mut dyn Sink,
    copy: Vec<u8>,
}

impl Sink for Tee<'_> {
    fn room(&mut self) -> &mut [u8] {
        self.to.room()
    }

    fn filled(&mut self, count: usize) {
        self.copy.extend_from_slice(&self.to.room()[..count]);
        self.to.filled(count);
    }
}

impl<L: Link> Link for Trace<L> {
    fn address(&self) -> String {
        self.inner.address()
    }

    fn send<'a>(&'a mut self, bytes: &'a [u8], deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        Box::pin(async move {
            self.tape.push((self.now)(), Way::Sent, bytes.to_vec());
            let result = self.inner.send(bytes, deadline).await;
            self.event(&result);
            result
        })
    }

    fn receive<'a>(&'a mut self, into: &'a mut dyn Sink, deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        Box::pin(async move {
            let mut tee = Tee {
                to: into,
                copy: Vec::new(),
            };
            let result = self.inner.receive(&mut tee, deadline).await;
            if !tee.copy.is_empty() {
                self.tape.push((self.now)(), Way::Received, tee.copy);
            }
            self.event(&result);
            result
        })
    }

    fn arrived(&mut self, into: &mut dyn Sink) -> Result<(), LinkError> {
        let mut tee = Tee {
            to: into,
            copy: Vec::new(),
        };
        let result = self.inner.arrived(&mut tee);
        if !tee.copy.is_empty() {
            self.tape.push((self.now)(), Way::Received, tee.copy);
        }
        self.event(&result);
        result
    }

    fn reopen(&mut self, deadline: Instant) -> Pending<'_, Result<Reopened, LinkError>> {
        Box::pin(async move {
            let result = self.inner.reopen(deadline).await;
            self.event(&result);
            if let Ok(reopened) = &result {
                self.tape.push(
                    (self.now)(),
                    Way::Event,
                    format!("opened again: {reopened:?}").into_bytes(),
                );
            }
            result
        })
    }
}
