//! What a person at the bench wants to know while a run goes: how long it still takes, and at which step hands are needed
//! next.

use pilotage_core::RunTime;
use pilotage_evidence::Event;
use pilotage_evidence::event::Stamped;
use pilotage_plan::program::{ActKind, Program, Step};
use std::collections::BTreeMap;
use std::time::Duration;

/// Follows a run against its program.
#[derive(Debug, Default)]
pub struct Forecast {
    estimate: Duration,
    /// Number and id of every step in which a person is asked for something, in order.
    asking: Vec<(u32, String)>,
    step: Option<u32>,
    /// The time that persons took: no estimate has it.
    waited: Duration,
    before: RunTime,
    /// Estimated time from the start to the end of the steps before, by the number of the step.
    reached: BTreeMap<u32, Duration>,
}

impl Forecast {
    /// Before the run.
    pub fn of(program: &Program) -> Self {
        let asking = program.steps.iter().filter(|step| step.skipped.is_none() && asks(step));
        Self {
            estimate: program.estimate,
            asking: asking.map(|step| (step.head.number, step.head.id.clone())).collect(),
            reached: reached(program),
            ..Self::default()
        }
    }

    /// Takes an event in.
    pub fn note(&mut self, stamped: &Stamped) {
        match &stamped.event {
            Event::StepStarted { step } => self.step = Some(*step),
            // Nothing else is written while a person is waited for, so the time since the event before is theirs.
            Event::Asked { .. } | Event::CautionAcknowledged { .. } => self.waited += stamped.at.since(self.before),
            _ => {}
        }
        self.before = stamped.at;
    }

    /// In a few words, so long after the last event.
    pub fn words(&self, since: Duration) -> String {
        let worked = (self.before.since(RunTime::START) + since).saturating_sub(self.waited);
        let left = self.estimate.saturating_sub(worked).as_secs();
        let left = match left {
            0 => "nearly done".to_owned(),
            left => format!("about {} left", span(left)),
        };
        let next = self
            .asking
            .iter()
            .find(|(number, _)| self.step.is_none_or(|step| *number >= step));
        match next {
            Some((number, id)) if Some(*number) == self.step => format!("{left} · {id} needs a person"),
            Some((number, id)) => {
                let until = self
                    .reached
                    .get(number)
                    .copied()
                    .unwrap_or_default()
                    .saturating_sub(worked);
                match until.as_secs() {
                    0 => format!("{left} · a person is needed at {id}, soon"),
                    until => format!("{left} · a person is needed at {id}, in about {}", span(until)),
                }
            }
            None => left,
        }
    }
}

/// A span of time.
pub(crate) fn span(seconds: u64) -> String {
    match seconds {
        0..60 => format!("{seconds} s"),
        _ => format!("{} min {:02} s", seconds / 60, seconds % 60),
    }
}

fn reached(program: &Program) -> BTreeMap<u32, Duration> {
    let mut so_far = Duration::ZERO;
    let running = program.steps.iter().filter(|step| step.skipped.is_none());
    running
        .map(|step| {
            let begins = so_far;
            so_far += step.estimate;
            (step.head.number, begins)
        })
        .collect()
}

fn asks(step: &Step) -> bool {
    step.acts
        .iter()
        .any(|act| matches!(act.kind, ActKind::Ask(_) | ActKind::Isolate(_)))
}

#[cfg(test)]
mod tests {
    use super::{Forecast, RunTime};
    use std::collections::BTreeMap;
    use std::time::Duration;

    /// In step 1 of a run of 100 s, 10 s after its start; hands are wanted at step 3, which begins after 60 s.
    fn forecast() -> Forecast {
        Forecast {
            estimate: Duration::from_secs(100),
            asking: vec![(3, "WU-30".to_owned())],
            step: Some(1),
            before: RunTime::START.plus(Duration::from_secs(10)),
            reached: BTreeMap::from([(1, Duration::ZERO), (3, Duration::from_mins(1))]),
            ..Forecast::default()
        }
    }

    #[test]
    fn time_goes_on_while_nothing_happens() {
        let words = |since| forecast().words(Duration::from_secs(since));
        assert_eq!(
            words(0),
            "about 1 min 30 s left · a person is needed at WU-30, in about 50 s"
        );
        assert_eq!(
            words(31),
            "about 59 s left · a person is needed at WU-30, in about 19 s"
        );
        assert_eq!(words(80), "about 10 s left · a person is needed at WU-30, soon");
        assert_eq!(words(200), "nearly done · a person is needed at WU-30, soon");
    }

    #[test]
    fn the_time_that_persons_took_is_no_work() {
        let waited = Forecast {
            waited: Duration::from_secs(10),
            step: Some(3),
            ..forecast()
        };
        assert_eq!(
            waited.words(Duration::ZERO),
            "about 1 min 40 s left · WU-30 needs a person"
        );
    }
}
