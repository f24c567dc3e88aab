//! An interface as a device behind a link in memory.

use super::front::Front;
use crate::link::{Device, Progress};
use pilotage_core::RunTime;
use pilotage_core::frames::Node;
use std::time::Duration;

/// How long a line takes.
const TAKES: Duration = Duration::from_millis(1);

/// Where a party on a bus is to be had, with everything that came until now.
pub trait NodeAt: Send {
    /// Whether it can keep everyone on the bus from sending.
    fn can_hold_the_bus(&self) -> bool {
        true
    }
    /// Lets it be looked at and changed; nothing where it is on no bus any more, with the reason.
    fn with(&mut self, now: RunTime, work: &mut dyn FnMut(&mut Node)) -> Result<(), String>;
}

/// An interface.
pub struct Interface<N> {
    front: Front,
    node: N,
    line: Vec<u8>,
    ready: RunTime,
}

impl<N: NodeAt> Interface<N> {
    /// Over a party, with these names in `*IDN?`.
    pub fn new(node: N, maker: &str, serial: &str) -> Self {
        Self {
            front: Front::new(maker, serial, node.can_hold_the_bus()),
            node,
            line: Vec::new(),
            ready: RunTime::START,
        }
    }
}

impl<N: NodeAt> Device for Interface<N> {
    fn respond(&mut self, line: &[u8], now: RunTime) -> RunTime {
        line.clone_into(&mut self.line);
        self.ready = now.plus(TAKES);
        self.ready
    }

    fn finish(&mut self, now: RunTime) -> Progress {
        if now < self.ready {
            return Progress::NotBefore(self.ready);
        }
        let (front, line) = (&mut self.front, &self.line);
        let mut reply = Vec::new();
        let done = self.node.with(now, &mut |node| reply = front.line(line, node, now));
        // An interface that has lost its bus says nothing more: the bench then names it and its deadline.
        if done.is_err() {
            reply.clear();
        }
        Progress::Done(reply)
    }
}
