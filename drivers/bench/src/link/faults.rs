//! Middleware that does to replies what bad cables, busy instruments and confused gateways do, from a seed.

use super::{Link, LinkError, Pending, Reopened};
use crate::scpi::Sink;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;
use tokio::time::{Instant, sleep_until};

/// What can happen to a reply.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// It comes so much later (after the deadline too).
    Delay(Duration),
    /// It never comes.
    Drop,
    /// Only its beginning comes.
    Truncate,
    /// It comes twice: at once, or the second time before the next question.
    Duplicate,
    /// It comes together with the next reply, before it.
    OneLate,
    /// A byte that belongs to no reply comes within it.
    Garbage,
    /// The connection closes instead.
    Close,
}

impl Fault {
    /// All that need no time: together with delays every kind there is.
    pub const WITHOUT_DELAY: [Self; 6] = [
        Self::Drop,
        Self::Truncate,
        Self::Duplicate,
        Self::OneLate,
        Self::Garbage,
        Self::Close,
    ];
}

/// Which faults, and how often.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FaultPlan {
    /// Seed: the same seed does the same to the same replies.
    pub seed: u64,
    /// One reply of so many is hit (1: every reply; 0: none).
    pub one_in: u64,
    /// How many replies pass unharmed first.
    pub spare_first: u64,
    /// The faults to draw from.
    pub kinds: Vec<Fault>,
}

/// A link with faults.
pub struct Faults<L> {
    inner: L,
    plan: FaultPlan,
    state: u64,
    replies: u64,
    closed: bool,
    /// Comes before the next reply.
    late: Vec<u8>,
    /// Comes before the next question.
    spare: Vec<u8>,
    /// How many replies were hit; may be shared with other links.
    hits: Arc<AtomicU64>,
}

#[derive(Default)]
struct Pool {
    bytes: Vec<u8>,
    filled: usize,
}

impl Sink for Pool {
    fn room(&mut self) -> &mut [u8] {
        if self.bytes.len() < self.filled + 4096 {
            self.bytes.resize(self.filled + 65_536, 0);
        }
        &mut self.bytes[self.filled..]
    }

    fn filled(&mut self, count: usize) {
        self.filled += count;
    }
}

impl<L: Link> Faults<L> {
    /// Puts faults before a link.
    pub fn new(inner: L, plan: FaultPlan) -> Self {
        Self {
            inner,
            state: plan.seed,
            plan,
            replies: 0,
            closed: false,
            late: Vec::new(),
            spare: Vec::new(),
            hits: Arc::default(),
        }
    }

    /// Counts the replies that are hit in a place of the caller's.
    #[must_use]
    pub fn counted(mut self, hits: Arc<AtomicU64>) -> Self {
        self.hits = hits;
        self
    }

    /// splitmix64 (public domain constants): the same numbers on every platform.
    fn draw(&mut self, below: u64) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.state;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (mixed ^ (mixed >> 31)) % below.max(1)
    }

    fn next_fault(&mut self) -> Option<Fault> {
        self.replies += 1;
        if self.replies <= self.plan.spare_first || self.plan.one_in == 0 || self.plan.kinds.is_empty() {
            return None;
        }
        let hit = self.draw(self.plan.one_in) == 0;
        let kind = self.draw(self.plan.kinds.len() as u64) as usize;
        if hit {
            self.hits.fetch_add(1, Ordering::Relaxed);
        }
        hit.then(|| self.plan.kinds[kind])
    }

    async fn disturbed(&mut self, into: &mut dyn Sink, deadline: Instant) -> Result<(), LinkError> {
        loop {
            if self.closed {
                return Err(LinkError::Closed);
            }
            let mut pool = Pool::default();
            self.inner.receive(&mut pool, deadline).await?;
            pool.bytes.truncate(pool.filled);
            let fault = self.next_fault();
            if let Some(bytes) = self.hit(fault, pool.bytes, deadline).await? {
                into.put(&bytes);
                return Ok(());
            }
        }
    }

    /// What of these bytes comes now; `None` where nothing does.
    async fn hit(
        &mut self,
        fault: Option<Fault>,
        bytes: Vec<u8>,
        deadline: Instant,
    ) -> Result<Option<Vec<u8>>, LinkError> {
        let mut now = std::mem::take(&mut self.late);
        match fault {
            None => now.extend(bytes),
            Some(Fault::Delay(span)) => {
                let due = Instant::now() + span;
                sleep_until(due.min(deadline)).await;
                if due >= deadline {
                    now.extend(bytes);
                    self.late = now;
                    return Err(LinkError::TimedOut);
                }
                now.extend(bytes);
            }
            Some(Fault::Drop) => {}
            Some(Fault::Truncate) => {
                let keep = self.draw(bytes.len() as u64) as usize;
                now.extend(&bytes[..keep]);
            }
            Some(Fault::Duplicate) => {
                now.extend(&bytes);
                if self.draw(2) == 0 {
                    now.extend(&bytes);
                } else {
                    self.spare.extend(&bytes);
                }
            }
            Some(Fault::OneLate) => {
                self.late = bytes;
            }
            Some(Fault::Garbage) => {
                let place = self.draw(bytes.len() as u64) as usize;
                let noise = [0x00, 0xff, 0x1b, 0x7f][self.draw(4) as usize];
                now.extend(&bytes[..place]);
                now.push(noise);
                now.extend(&bytes[place..]);
            }
            Some(Fault::Close) => {
                self.closed = true;
                return Err(LinkError::Closed);
            }
        }
        Ok((!now.is_empty()).then_some(now))
    }
}

impl<L: Link> Link for Faults<L> {
    fn address(&self) -> String {
        self.inner.address()
    }

    fn send<'a>(&'a mut self, bytes: &'a [u8], deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        if self.closed {
            return Box::pin(async { Err(LinkError::Closed) });
        }
        self.inner.send(bytes, deadline)
    }

    fn receive<'a>(&'a mut self, into: &'a mut dyn Sink, deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        Box::pin(self.disturbed(into, deadline))
    }

    fn arrived(&mut self, into: &mut dyn Sink) -> Result<(), LinkError> {
        if self.closed {
            return Err(LinkError::Closed);
        }
        into.put(&std::mem::take(&mut self.spare));
        self.inner.arrived(into)
    }

    fn reopen(&mut self, deadline: Instant) -> Pending<'_, Result<Reopened, LinkError>> {
        Box::pin(async move {
            let reopened = self.inner.reopen(deadline).await?;
            self.closed = false;
            if reopened == Reopened::Fresh {
                self.late.clear();
                self.spare.clear();
            }
            Ok(reopened)
        })
    }
}
