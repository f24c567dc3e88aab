//! Why the verdict is not a pass, in so few words that page 1 and the end of a run hold them: of each step the reading that
//! decided it, then what no step says.

use super::types::{Document, Row, StepPart};
use crate::words::Verdict;

/// Length of a reason, in characters.
pub const REASON_CHARS: usize = 150;
/// Length of a value, or of the reason why there is none, in characters.
pub const VALUE_CHARS: usize = 64;
/// How a row without a value begins.
const NO_VALUE: &str = "no value: ";

/// All of them, shortened.
pub fn reasons(document: &Document) -> Vec<String> {
    let told: Vec<&StepPart> = document
        .steps
        .iter()
        .filter(|step| !matches!(step.verdict, Verdict::Pass | Verdict::NotRun))
        .collect();
    let is_told = |reason: &str| {
        let mut prefixes = told.iter().map(|step| format!("{} {}: ", step.id, step.title));
        prefixes.any(|prefix| reason.starts_with(&prefix))
    };
    let others = document.because.iter().filter(|reason| !is_told(reason));
    told.iter()
        .map(|step| of_step(step))
        .chain(others.map(|reason| short(reason, REASON_CHARS)))
        .collect()
}

fn of_step(step: &StepPart) -> String {
    match deciding(step) {
        Some(row) if row.verdict == step.verdict => {
            format!("{} {}: {}, limit {}", step.id, step.title, reading_says(row), row.limit)
        }
        _ => {
            let why = step.because.as_deref().unwrap_or_default();
            short(&format!("{} {}: {why}", step.id, step.title), REASON_CHARS)
        }
    }
}

/// The judgement that decided a step, else the one nearest to its bound.
pub fn deciding(step: &StepPart) -> Option<&Row> {
    let worst = worst(&step.rows.iter().collect::<Vec<_>>());
    let candidates = step.rows.iter().filter(|row| row.verdict == worst);
    let share = |row: &Row| {
        let numbers = &row.numbers;
        let width = match (numbers.low, numbers.high) {
            (Some(low), Some(high)) => (high - low) / 2.0,
            (low, high) => high.or(low).unwrap_or(0.0).abs(),
        };
        // A count of none that must be none says nothing about nearness.
        match numbers.margin {
            Some(margin) if width > 0.0 => margin / width,
            _ => f64::INFINITY,
        }
    };
    candidates.min_by(|a, b| share(a).total_cmp(&share(b)))
}

/// `v_low = -10.2 V`, or the name with the reason why there is no value.
pub fn reading_says(row: &Row) -> String {
    match row.value.strip_prefix(NO_VALUE) {
        Some(reason) => format!("{}: {}", row.name, short(reason, VALUE_CHARS)),
        None => format!("{} = {}", row.name, short(&row.value, VALUE_CHARS)),
    }
}

/// The worst verdict among rows.
pub fn worst(rows: &[&Row]) -> Verdict {
    let all = rows.iter().map(|row| row.verdict);
    all.max_by_key(|verdict| verdict.badness()).unwrap_or(Verdict::Pass)
}

/// The first words of a text that stands in full elsewhere in the report.
pub fn short(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let cut: String = text.chars().take(most).collect();
    let words = cut.rsplit_once(' ').map_or(cut.as_str(), |(words, _)| words);
    format!("{} …", words.trim_end_matches([',', ';', ':', '(']))
}
