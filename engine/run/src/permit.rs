//! Permits: the proof, checked again when the bytes are sent, that an energising act may happen now.

use pilotage_core::RunTime;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Shut once, never opened again within a run. Shared by the runner, its guards and every sender of bytes.
#[derive(Debug, Clone, Default)]
pub struct Gate(Arc<AtomicBool>);

impl Gate {
    /// Withdraws every permit, given or to come.
    pub fn shut(&self) {
        self.0.store(true, Ordering::SeqCst);
    }

    /// Whether it was shut.
    pub fn is_shut(&self) -> bool {
        self.0.load(Ordering::SeqCst)
    }
}

/// Given by the runner for one act, after its intent is on disk. Cannot be copied, and is spent by the call that uses it.
#[derive(Debug)]
pub struct Permit {
    act: u32,
    given: RunTime,
    gate: Gate,
}

/// Why a permit no longer holds.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the permit for act {act} no longer holds: {why}")]
pub struct Withheld {
    /// Number of the act.
    pub act: u32,
    /// In words.
    pub why: String,
}

impl Permit {
    /// Longest time between the giving of a permit and the sending of its bytes.
    pub const LIFETIME_MS: u64 = 500;

    pub(crate) fn new(act: u32, given: RunTime, gate: Gate) -> Self {
        Self { act, given, gate }
    }

    /// Number of the act that it permits.
    pub fn act(&self) -> u32 {
        self.act
    }

    /// Checked by the sender directly before the first byte.
    pub fn check(&self, now: RunTime) -> Result<(), Withheld> {
        let withheld = |why: &str| Withheld {
            act: self.act,
            why: why.to_owned(),
        };
        if self.gate.is_shut() {
            return Err(withheld("something tripped since it was given"));
        }
        if now.since(self.given).as_millis() > u128::from(Self::LIFETIME_MS) {
            return Err(withheld("it is too old"));
        }
        Ok(())
    }
}
