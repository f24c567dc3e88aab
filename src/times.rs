//! How long each part of a job took, for `--times`.

use serde_json::{Map, Value, json};
use std::time::{Duration, Instant};

/// A stopwatch with named laps. It always runs; it only speaks when it is asked to.
#[derive(Debug)]
pub struct Times {
    began: Instant,
    last: Instant,
    laps: Vec<(&'static str, Duration)>,
}

impl Default for Times {
    fn default() -> Self {
        let now = Instant::now();
        Self {
            began: now,
            last: now,
            laps: Vec::new(),
        }
    }
}

impl Times {
    /// All time since the last lap belongs to this part.
    pub fn lap(&mut self, part: &'static str) {
        let now = Instant::now();
        self.laps.push((part, now - self.last));
        self.last = now;
    }

    /// Milliseconds of each part and of the whole.
    pub fn as_json(&self) -> Value {
        let laps: Map<String, Value> = self
            .laps
            .iter()
            .map(|(part, span)| ((*part).to_owned(), milliseconds(*span)))
            .collect();
        json!({"parts_ms": laps, "whole_ms": milliseconds(self.began.elapsed())})
    }
}

/// To a microsecond.
fn milliseconds(span: Duration) -> Value {
    json!(span.as_micros() as f64 / 1e3)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::Times;

    #[test]
    fn the_parts_make_up_the_whole() {
        let mut times = Times::default();
        std::thread::sleep(std::time::Duration::from_millis(5));
        times.lap("first");
        times.lap("second");
        let said = times.as_json();
        let part = |name: &str| said["parts_ms"][name].as_f64().unwrap();
        assert!(part("first") >= 5.0 && part("second") < part("first"));
        assert!(said["whole_ms"].as_f64().unwrap() >= part("first") + part("second"));
    }
}
