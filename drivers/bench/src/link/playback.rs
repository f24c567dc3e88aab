//! A trace played back: the same questions in the same order get the same bytes; any other question is an error.

use super::{Link, LinkError, Pending, Reopened, Traffic, Way};
use crate::scpi::{Sink, text};
use pilotage_core::RunTime;
use std::collections::VecDeque;
use tokio::time::{Instant, sleep_until};

/// A link that plays a trace.
pub struct Playback {
    lines: VecDeque<Traffic>,
    /// The trace's time of the last piece, and when that was here.
    origin: Option<(RunTime, Instant)>,
}

impl Playback {
    /// Plays these pieces.
    pub fn new(lines: Vec<Traffic>) -> Self {
        Self {
            lines: lines.into(),
            origin: None,
        }
    }

    /// Plays a trace's text.
    pub fn from_text(trace: &str) -> Result<Self, LinkError> {
        let lines = trace.lines().enumerate().map(|(index, line)| {
            read_line(line)
                .ok_or_else(|| LinkError::Broken(format!("line {} of the trace is not a trace's line", index + 1)))
        });
        Ok(Self::new(lines.collect::<Result<_, _>>()?))
    }

    fn skip_events(&mut self) {
        while self.lines.pop_front_if(|line| line.way == Way::Event).is_some() {}
    }

    fn expect(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        self.skip_events();
        match self.lines.pop_front() {
            Some(line) if line.way == Way::Sent && line.bytes == bytes => {
                self.origin = Some((line.at, Instant::now()));
                Ok(())
            }
            Some(line) => Err(LinkError::Broken(format!(
                "the trace goes on with {:?} \"{}\", but \"{}\" was sent",
                line.way,
                text::shortened(&line.bytes),
                text::shortened(bytes)
            ))),
            None => Err(LinkError::Broken(format!(
                "the trace has ended, but \"{}\" was sent",
                text::shortened(bytes)
            ))),
        }
    }

    async fn play(&mut self, into: &mut dyn Sink, deadline: Instant) -> Result<(), LinkError> {
        self.skip_events();
        let ready = match (self.lines.front(), self.origin) {
            (Some(line), Some((from, then))) if line.way == Way::Received => then + line.at.since(from),
            _ => deadline,
        };
        if ready >= deadline {
            sleep_until(deadline).await;
            return Err(LinkError::TimedOut);
        }
        sleep_until(ready).await;
        if let Some(line) = self.lines.pop_front() {
            into.put(&line.bytes);
        }
        Ok(())
    }
}

impl Link for Playback {
    fn address(&self) -> String {
        "playback".to_owned()
    }

    fn send<'a>(&'a mut self, bytes: &'a [u8], _deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        let result = self.expect(bytes);
        Box::pin(async move { result })
    }

    fn receive<'a>(&'a mut self, into: &'a mut dyn Sink, deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        Box::pin(self.play(into, deadline))
    }

    fn arrived(&mut self, _into: &mut dyn Sink) -> Result<(), LinkError> {
        Ok(())
    }

    fn reopen(&mut self, _deadline: Instant) -> Pending<'_, Result<Reopened, LinkError>> {
        let end = self
            .lines
            .iter()
            .position(|line| line.way == Way::Sent)
            .unwrap_or(self.lines.len());
        let opened = self
            .lines
            .iter()
            .take(end)
            .any(|line| line.bytes == b"opened again: Fresh");
        self.lines.drain(..end);
        Box::pin(async move { Ok(if opened { Reopened::Fresh } else { Reopened::Same }) })
    }
}

fn read_line(line: &str) -> Option<Traffic> {
    let (at, rest) = line.split_once(' ')?;
    let (mark, escaped) = rest.split_once(' ')?;
    Some(Traffic {
        at: RunTime(at.parse().ok()?),
        way: match mark {
            ">" => Way::Sent,
            "<" => Way::Received,
            "!" => Way::Event,
            _ => return None,
        },
        bytes: unescaped(escaped)?,
    })
}

fn unescaped(text: &str) -> Option<Vec<u8>> {
    let mut out = Vec::with_capacity(text.len());
    let mut rest = text.as_bytes();
    while let [first, tail @ ..] = rest {
        if *first == b'\\' {
            let hex = str::from_utf8(tail.strip_prefix(b"x")?.get(..2)?).ok()?;
            out.push(u8::from_str_radix(hex, 16).ok()?);
            rest = &tail[3..];
        } else {
            out.push(*first);
            rest = tail;
        }
    }
    Some(out)
}
