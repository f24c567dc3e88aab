//! A device in this process: no sockets, so that it may run on a paused clock.

use super::{Link, LinkError, Now, Pending, Reopened};
use crate::scpi::Sink;
use pilotage_core::RunTime;
use std::collections::VecDeque;
use std::time::Duration;
use tokio::time::{Instant, sleep_until};

/// Something that answers lines.
pub trait Device: Send {
    /// Executes one line (without its terminator). Gives the reply exactly as it goes on the wire, LF included (empty where
    /// nothing is replied), and how long execution takes: the reply comes, and the next line is executed, after that.
    fn respond(&mut self, line: &[u8], now: RunTime) -> (Vec<u8>, Duration);
}

/// A link to a [`Device`].
pub struct MemoryLink {
    device: Box<dyn Device>,
    now: Now,
    busy_until: Instant,
    half_line: Vec<u8>,
    replies: VecDeque<(Instant, Vec<u8>)>,
}

impl MemoryLink {
    /// Links a device; `now` is the run's clock.
    pub fn new(device: Box<dyn Device>, now: Now) -> Self {
        Self {
            device,
            now,
            busy_until: Instant::now(),
            half_line: Vec::new(),
            replies: VecDeque::new(),
        }
    }

    async fn execute(&mut self, line: &[u8], deadline: Instant) -> Result<(), LinkError> {
        if self.busy_until > deadline {
            sleep_until(deadline).await;
            return Err(LinkError::TimedOut);
        }
        if self.busy_until > Instant::now() {
            sleep_until(self.busy_until).await;
        }
        let (reply, after) = self.device.respond(line, (self.now)());
        self.busy_until = Instant::now() + after;
        if !reply.is_empty() {
            self.replies.push_back((self.busy_until, reply));
        }
        Ok(())
    }

    async fn execute_all(&mut self, bytes: &[u8], deadline: Instant) -> Result<(), LinkError> {
        self.half_line.extend_from_slice(bytes);
        while let Some(end) = self.half_line.iter().position(|&byte| byte == b'\n') {
            let rest = self.half_line.split_off(end + 1);
            let line = std::mem::replace(&mut self.half_line, rest);
            let text = line[..end].strip_suffix(b"\r").unwrap_or(&line[..end]);
            if let Err(error) = self.execute(text, deadline).await {
                // A command that could not be executed in time must not be executed later.
                self.half_line.clear();
                return Err(error);
            }
        }
        Ok(())
    }

    async fn reply(&mut self, into: &mut dyn Sink, deadline: Instant) -> Result<(), LinkError> {
        match self.replies.front() {
            Some((ready, _)) if *ready <= deadline => {
                if *ready > Instant::now() {
                    sleep_until(*ready).await;
                }
                self.arrived(into)
            }
            _ => {
                sleep_until(deadline).await;
                Err(LinkError::TimedOut)
            }
        }
    }
}

impl Link for MemoryLink {
    fn address(&self) -> String {
        "virtual".to_owned()
    }

    fn send<'a>(&'a mut self, bytes: &'a [u8], deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        Box::pin(self.execute_all(bytes, deadline))
    }

    fn receive<'a>(&'a mut self, into: &'a mut dyn Sink, deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        Box::pin(self.reply(into, deadline))
    }

    fn arrived(&mut self, into: &mut dyn Sink) -> Result<(), LinkError> {
        let now = Instant::now();
        while let Some((_, bytes)) = self.replies.pop_front_if(|(ready, _)| *ready <= now) {
            into.put(&bytes);
        }
        Ok(())
    }

    fn reopen(&mut self, _deadline: Instant) -> Pending<'_, Result<Reopened, LinkError>> {
        // What was half sent is ended by the marker's own line; what is still executing will still be answered.
        Box::pin(async { Ok(Reopened::Same) })
    }
}
