//! Run time on tokio's clock, real or paused. A pace scales it, for a virtual bench that lives faster than the wall clock.

use pilotage_core::RunTime;
use pilotage_run::world::Clock;
use std::time::{Duration, SystemTime};
use tokio::time::Instant;

/// Tokio's timer counts whole milliseconds and rounds up; what is left below that is waited for by yielding.
const TICK: Duration = Duration::from_millis(1);

/// The fixed moment from which [`Clock::wall`] counts lies this long before the start: a wall clock may be set back.
const LONG_BEFORE: Duration = Duration::from_hours(100_000);

/// Counts from its making.
#[derive(Debug, Clone, Copy)]
pub struct TokioClock {
    start: Instant,
    pace: f64,
    /// The wall clock at the start; none in virtual time, which has no wall clock to go with.
    wall: Option<SystemTime>,
}

impl TokioClock {
    /// Starts now in virtual time: tokio's paused clock, and no wall clock.
    pub fn virtual_time() -> Self {
        Self {
            start: Instant::now(),
            pace: 1.0,
            wall: None,
        }
    }

    /// Starts now beside the wall clock; `pace` seconds of run time pass in each second.
    pub fn with_pace(pace: f64) -> Self {
        Self {
            start: Instant::now(),
            pace,
            wall: Some(SystemTime::now()),
        }
    }

    /// Waits for a run time. A bench that lives faster than the wall clock needs it to less than a millisecond: at a pace of
    /// 50 one tick of tokio's timer is 50 ms of run time, more than most instruments take.
    pub async fn sleep_until(&self, at: RunTime) {
        let at = self.instant(at);
        if self.pace <= 1.0 {
            return tokio::time::sleep_until(at).await;
        }
        if let Some(early) = at.checked_sub(TICK).filter(|early| *early > Instant::now()) {
            tokio::time::sleep_until(early).await;
        }
        while Instant::now() < at {
            tokio::task::yield_now().await;
        }
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
        let span = if (self.pace - 1.0).abs() < f64::EPSILON {
            elapsed
        } else {
            elapsed.mul_f64(self.pace)
        };
        RunTime::START.plus(span)
    }

    /// Run time, put off by what the wall clock was set forward or back since the start: real seconds at any pace.
    fn wall(&self) -> Option<Duration> {
        let started = self.wall?;
        let elapsed = self.start.elapsed();
        let run = LONG_BEFORE + self.now().since(RunTime::START);
        Some(match SystemTime::now().duration_since(started) {
            Ok(wall) => (run + wall).saturating_sub(elapsed),
            Err(before) => run.saturating_sub(elapsed + before.duration()),
        })
    }

    async fn sleep(&self, span: Duration) {
        tokio::time::sleep(span.div_f64(self.pace)).await;
    }
}
