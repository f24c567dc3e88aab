//! Words of events: orders, readings and times of day as people read them.

use crate::values::datum_of;
use crate::world::Answer;
use pilotage_core::{Datum, Quantity, RunTime, Tolerance, Unit, format};
use pilotage_evidence::event::{Reading, Trouble};
use pilotage_plan::program::{Order, Setting};
use std::time::Duration;

/// `set pilot_load to state_C`.
pub(crate) fn order(order: &Order) -> String {
    let to = match &order.to {
        Setting::Word(word) => word.clone(),
        Setting::Amount(value, unit) => quantity(*value, unit),
    };
    format!("set {} to {to}", order.point)
}

/// A quantity in the unit of its file.
pub(crate) fn quantity(value: Quantity, unit: &str) -> String {
    match Unit::find(unit) {
        Some(unit) => value.display_in(unit),
        None => format::automatic(value, 5),
    }
}

/// A value, or why there is none.
pub(crate) fn datum(datum: &Datum, unit: &str) -> String {
    match datum {
        Ok(measured) => quantity(measured.value, unit),
        Err(reason) => format!("no value ({reason})"),
    }
}

/// `at most 29 mΩ`.
pub(crate) fn tolerance(tolerance: &Tolerance, unit: &str) -> String {
    let bound = |value: &Quantity| quantity(*value, unit);
    match tolerance {
        Tolerance::AtLeast(low) => format!("at least {}", bound(low)),
        Tolerance::AtMost(high) => format!("at most {}", bound(high)),
        Tolerance::Between(low, high) => format!("between {} and {}", bound(low), bound(high)),
        Tolerance::AnyOf(choices) => format!("one of {}", choices.iter().map(bound).collect::<Vec<_>>().join(", ")),
    }
}

/// A word, a value, or why there is neither.
pub(crate) fn answer(answer: &Answer, unit: &str) -> String {
    answer.word.clone().unwrap_or_else(|| datum(&answer.datum, unit))
}

/// A reading as it is in the journal.
pub(crate) fn reading(reading: &Reading) -> String {
    let value = || datum(&datum_of(reading), &reading.unit);
    reading.word.clone().unwrap_or_else(value)
}

/// A span of time in words.
pub(crate) fn span(span: Duration) -> String {
    let ms = span.as_secs_f64() * 1e3;
    if ms < 1000.0 {
        format!("{ms:.0} ms")
    } else {
        format!("{:.1} s", ms / 1e3)
    }
}

/// `L-N, L-PE and N-PE`.
pub(crate) fn listed<S: AsRef<str>>(words: &[S]) -> String {
    let words: Vec<&str> = words.iter().map(AsRef::as_ref).collect();
    match words.split_last() {
        None => String::new(),
        Some((last, [])) => (*last).to_owned(),
        Some((last, others)) => format!("{} and {last}", others.join(", ")),
    }
}

/// The time of day (UTC) of a moment of the run: `10:42:07`; seconds since the start where `started` has no time of day.
pub(crate) fn time_of_day(started: &str, at: RunTime) -> String {
    let start_s = started.split_once('T').and_then(|(_, time)| seconds_of_day(time));
    let Some(start_s) = start_s else {
        return format!("{:.1} s after the start", at.seconds());
    };
    let total_s = (start_s + at.0 / 1_000_000_000) % 86_400;
    format!("{:02}:{:02}:{:02}", total_s / 3600, total_s / 60 % 60, total_s % 60)
}

fn seconds_of_day(time: &str) -> Option<u64> {
    let number = |range: std::ops::Range<usize>, below: u64| {
        let value = time.get(range)?.parse::<u64>().ok()?;
        (value < below).then_some(value)
    };
    let separated = time.as_bytes().get(2) == Some(&b':') && time.as_bytes().get(5) == Some(&b':');
    separated.then_some(())?;
    Some(number(0..2, 24)? * 3600 + number(3..5, 60)? * 60 + number(6..8, 61)?)
}

/// A trouble in one line.
pub(crate) fn trouble(trouble: &Trouble) -> String {
    let Trouble {
        instrument,
        command,
        expected,
        got,
        ..
    } = trouble;
    format!("{instrument}: {command}: expected {expected}, got {got}")
}

#[cfg(test)]
mod tests {
    use super::{listed, time_of_day};
    use pilotage_core::RunTime;

    #[test]
    fn a_time_of_day_is_counted_from_the_start() {
        let after_65_s = RunTime(65_900_000_000);
        assert_eq!(time_of_day("2026-05-01T10:41:02Z", after_65_s), "10:42:07");
        assert_eq!(time_of_day("2026-05-01T23:59:30.123Z", after_65_s), "00:00:35");
        assert_eq!(time_of_day("yesterday", after_65_s), "65.9 s after the start");
        assert_eq!(
            time_of_day("2026-05-01T99:59:30Z", after_65_s),
            "65.9 s after the start"
        );
    }

    #[test]
    fn pairs_are_listed_as_spoken() {
        assert_eq!(listed(&["L-N", "L-PE", "N-PE"]), "L-N, L-PE and N-PE");
        assert_eq!(listed(&["L-N"]), "L-N");
        assert_eq!(listed::<&str>(&[]), "");
    }
}
