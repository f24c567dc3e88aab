//! Signs of life of whoever owns a party on a bus. A party sends by itself, on a thread of its own or in hardware; so somebody who hangs
//! would go on saying what was said last.

use crate::time::RunTime;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

/// When an owner last showed that it works. Owner and party share it, across threads.
#[derive(Debug, Clone, Default)]
pub struct Life(Arc<AtomicU64>);

impl Life {
    /// The longest silence after which the owner still counts as alive: as long as guards may stand still.
    pub const WITHIN: Duration = Duration::from_secs(2);

    /// The owner works at this moment.
    pub fn show(&self, now: RunTime) {
        self.0.fetch_max(now.0, Ordering::Relaxed);
    }

    /// How long the owner has shown nothing.
    pub fn silence(&self, now: RunTime) -> Duration {
        now.since(RunTime(self.0.load(Ordering::Relaxed)))
    }
}

/// The same one, not one that was shown at the same time.
impl PartialEq for Life {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}
