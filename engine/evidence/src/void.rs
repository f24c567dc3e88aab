//! Readings that count no more, because the bench was not the same at the end: a look at the bench that is taken once more
//! and not met voids every verdict since it was met. Nothing in the journal is rewritten; what was read stays to be seen.

use crate::heading::{Closing, Heading};
use crate::words::Verdict;
use std::collections::BTreeMap;

/// The steps whose verdicts count no more, each with the step that closed and was not met.
///
/// | closing step | a step between it and the one that it takes once more |
/// | --- | --- |
/// | error: not met, or not looked at | void, if it came to pass, fail or inconclusive |
/// | pass, inconclusive, not run | stands |
///
/// What is an error already, or was not run, has nothing to lose.
pub fn voided(closings: &[Closing], verdicts: &[Verdict]) -> BTreeMap<u32, u32> {
    let mut voided = BTreeMap::new();
    let verdict = |step: u32| verdicts.get(step as usize).copied();
    for closing in closings {
        if verdict(closing.step) != Some(Verdict::Error) {
            continue;
        }
        let between = (closing.since + 1)..closing.step;
        for step in between.filter(|step| verdict(*step).is_some_and(counts)) {
            voided.entry(step).or_insert(closing.step);
        }
    }
    voided
}

/// Verdicts of all steps as they count.
pub fn counted(closings: &[Closing], verdicts: &[Verdict]) -> Vec<Verdict> {
    let mut counted = verdicts.to_vec();
    for step in voided(closings, verdicts).into_keys() {
        counted[step as usize] = Verdict::Inconclusive;
    }
    counted
}

/// What stands beside a verdict that counts no more.
pub fn words(heading: &Heading, closing: u32) -> String {
    let step = heading.steps.get(closing as usize);
    let (id, title) = step.map_or(("?", "?"), |step| (step.id.as_str(), step.title.as_str()));
    format!("void: {id} {title} was not met")
}

/// The verdict of one judgement that counts no more.
pub(crate) fn of_row(verdict: Verdict) -> Verdict {
    if counts(verdict) {
        Verdict::Inconclusive
    } else {
        verdict
    }
}

fn counts(verdict: Verdict) -> bool {
    matches!(verdict, Verdict::Pass | Verdict::Fail | Verdict::Inconclusive)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::Verdict::{Error, Fail, Inconclusive, NotRun, Pass};

    /// Steps 1 and 6 are one look at the bench, 3 and 5 another.
    const CLOSINGS: [Closing; 2] = [Closing { step: 5, since: 3 }, Closing { step: 6, since: 1 }];

    #[test]
    fn each_row_of_the_table() {
        let rows = [
            ([Pass, Pass, Pass, Pass, Fail, Pass, Pass, Pass], [false; 8]),
            (
                [Fail, Pass, Pass, Pass, Fail, Error, Pass, Pass],
                [false, false, false, false, true, false, false, false],
            ),
            (
                [Fail, Pass, Pass, NotRun, Fail, Pass, Error, Fail],
                [false, false, true, false, true, true, false, false],
            ),
            (
                [Fail, Pass, Inconclusive, Error, Pass, Error, Error, Fail],
                [false, false, true, false, true, false, false, false],
            ),
            ([Pass, Pass, Fail, Pass, Pass, Inconclusive, NotRun, Pass], [false; 8]),
        ];
        for (verdicts, wanted) in rows {
            let voided = voided(&CLOSINGS, &verdicts);
            let is: Vec<bool> = (0..8).map(|step| voided.contains_key(&step)).collect();
            assert_eq!(is, wanted, "{verdicts:?}");
            for (step, counted) in counted(&CLOSINGS, &verdicts).iter().enumerate() {
                let as_before = if wanted[step] { Inconclusive } else { verdicts[step] };
                assert_eq!(*counted, as_before, "{verdicts:?}, step {step}");
            }
        }
    }
}
