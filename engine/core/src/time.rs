//! The run's own clock reading.

use serde::{Deserialize, Serialize};
use std::time::Duration;

/// Nanoseconds since the run began, on a monotonic (or virtual) clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct RunTime(pub u64);

impl RunTime {
    /// The start of the run.
    pub const START: Self = Self(0);

    /// Seconds since the run began.
    pub fn seconds(self) -> f64 {
        self.0 as f64 * 1e-9
    }

    /// This time plus a span.
    #[must_use]
    pub fn plus(self, span: Duration) -> Self {
        Self(
            self.0
                .saturating_add(u64::try_from(span.as_nanos()).unwrap_or(u64::MAX)),
        )
    }

    /// The span since an earlier time; zero where `earlier` is later.
    pub fn since(self, earlier: Self) -> Duration {
        Duration::from_nanos(self.0.saturating_sub(earlier.0))
    }
}
