//! A device in this process: no sockets, so that it may run on a paused clock.

use super::{Link, LinkError, Now, Pending, Reopened};
use crate::scpi::Sink;
use pilotage_core::RunTime;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::time::{Instant, sleep, timeout_at};

/// What became of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Progress {
    /// Not done yet: look again at this time.
    NotBefore(RunTime),
    /// Done. The reply exactly as it goes on the wire, LF included; empty where nothing is replied.
    Done(Vec<u8>),
}

/// Something that executes lines, one at a time, in two phases: what it does or measures happens at the end of a span of
/// time that has passed by then.
pub trait Device: Send {
    /// Takes one line (without its terminator). Gives the time at which to call `finish`.
    fn respond(&mut self, line: &[u8], now: RunTime) -> RunTime;
    /// Executes what is due.
    fn finish(&mut self, now: RunTime) -> Progress;
}

/// A device that executes a line at once and answers later.
pub trait Simple: Send {
    /// Gives the reply as it goes on the wire (empty where nothing is replied), and how long execution takes.
    fn respond(&mut self, line: &[u8], now: RunTime) -> (Vec<u8>, Duration);
}

/// Makes a [`Device`] of a [`Simple`] one.
#[derive(Debug)]
pub struct AtOnce<S> {
    device: S,
    reply: Vec<u8>,
    ready: RunTime,
}

impl<S: Simple> AtOnce<S> {
    /// Wraps it.
    pub fn new(device: S) -> Self {
        Self {
            device,
            reply: Vec::new(),
            ready: RunTime::START,
        }
    }
}

impl<S: Simple> Device for AtOnce<S> {
    fn respond(&mut self, line: &[u8], now: RunTime) -> RunTime {
        let (reply, after) = self.device.respond(line, now);
        self.reply = reply;
        self.ready = now.plus(after);
        self.ready
    }

    fn finish(&mut self, now: RunTime) -> Progress {
        if now < self.ready {
            return Progress::NotBefore(self.ready);
        }
        Progress::Done(std::mem::take(&mut self.reply))
    }
}

/// A link to a [`Device`]. The device lives in a task of its own, as an instrument does: what was sent is executed whether or
/// not anyone waits for the reply.
pub struct MemoryLink {
    lines: mpsc::UnboundedSender<Vec<u8>>,
    replies: mpsc::UnboundedReceiver<Vec<u8>>,
    half_line: Vec<u8>,
}

impl MemoryLink {
    /// Links a device; `now` is the run's clock. To be called within a tokio runtime.
    pub fn new(device: Box<dyn Device>, now: Now) -> Self {
        let (lines, lines_in) = mpsc::unbounded_channel();
        let (replies_out, replies) = mpsc::unbounded_channel();
        tokio::spawn(live(device, now, lines_in, replies_out));
        Self {
            lines,
            replies,
            half_line: Vec::new(),
        }
    }

    fn take(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        for piece in bytes.split_inclusive(|&byte| byte == b'\n') {
            self.half_line.extend_from_slice(piece);
            if piece.ends_with(b"\n") {
                let mut line = std::mem::take(&mut self.half_line);
                line.pop();
                if line.last() == Some(&b'\r') {
                    line.pop();
                }
                self.lines.send(line).map_err(|_| LinkError::Closed)?;
            }
        }
        Ok(())
    }
}

/// The device's life: until the link is gone.
async fn live(
    mut device: Box<dyn Device>,
    now: Now,
    mut lines: mpsc::UnboundedReceiver<Vec<u8>>,
    replies: mpsc::UnboundedSender<Vec<u8>>,
) {
    while let Some(line) = lines.recv().await {
        let mut ready = device.respond(&line, now());
        let reply = loop {
            let wait = ready.since(now());
            if !wait.is_zero() {
                sleep(wait).await;
            }
            match device.finish(now()) {
                Progress::NotBefore(next) => ready = next,
                Progress::Done(reply) => break reply,
            }
        };
        if !reply.is_empty() && replies.send(reply).is_err() {
            return;
        }
    }
}

impl Link for MemoryLink {
    fn address(&self) -> String {
        "virtual".to_owned()
    }

    fn send<'a>(&'a mut self, bytes: &'a [u8], _deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        let result = self.take(bytes);
        Box::pin(async move { result })
    }

    fn receive<'a>(&'a mut self, into: &'a mut dyn Sink, deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        Box::pin(async move {
            match timeout_at(deadline, self.replies.recv()).await {
                Ok(Some(bytes)) => {
                    into.put(&bytes);
                    Ok(())
                }
                Ok(None) => Err(LinkError::Closed),
                Err(_) => Err(LinkError::TimedOut),
            }
        })
    }

    fn arrived(&mut self, into: &mut dyn Sink) -> Result<(), LinkError> {
        while let Ok(bytes) = self.replies.try_recv() {
            into.put(&bytes);
        }
        Ok(())
    }

    fn reopen(&mut self, _deadline: Instant) -> Pending<'_, Result<Reopened, LinkError>> {
        // What is still being executed will still be answered.
        self.half_line.clear();
        Box::pin(async { Ok(Reopened::Same) })
    }
}
