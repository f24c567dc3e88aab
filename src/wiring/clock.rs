//! Run time on tokio's clock, real or paused. A pace scales it, for a virtual bench that lives faster than the wall clock.

use pilotage_core::RunTime;
use pilotage_run::world::Clock;
use std::time::Duration;
use tokio::time::Instant;

/// Counts from its making.
#[derive(Debug, Clone, Copy)]
pub struct TokioClock {
    start: Instant,
    pace: f64,
}

impl TokioClock {
    /// Starts now, at the pace of tokio's clock.
    pub fn start() -> Self {
        Self::with_pace(1.0)
    }

    /// Starts now; `pace` seconds of run time pass in each second of tokio's clock.
    pub fn with_pace(pace: f64) -> Self {
        Self { start: Instant::now(), pace }
    }

    /// Tokio's instant of a run time.
    pub fn instant(&self, at: RunTime) -> Instant {
        self.start + Duration::from_nanos(at.0).div_f64(self.pace)
    }
}

impl Clock for TokioClock {
    fn now(&self) -> RunTime {
        let elapsed = self.start.elapsed();
        // A whole pace of 1 must not go through floating point: nanoseconds would be lost after a few days.
        let span = if (self.pace - 1.0).abs() < f64::EPSILON { elapsed } else { elapsed.mul_f64(self.pace) };
        RunTime::START.plus(span)
    }

    async fn sleep(&self, span: Duration) {
        tokio::time::sleep(span.div_f64(self.pace)).await;
    }
}
