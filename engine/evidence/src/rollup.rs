//! From judgements to a step, from steps to a run, from all that applied to one exit code.

use crate::event::StopCause;
use crate::words::Verdict;

/// The verdict of a step from all its judgements and dead statements.
///
/// | among the judgements | step |
/// | --- | --- |
/// | an error | error |
/// | else a fail | fail |
/// | else an inconclusive | inconclusive |
/// | else some passed and some not run | inconclusive |
/// | all passed | pass |
/// | all not run, or none at all | not run |
///
/// A step that judged nothing has shown nothing, so it does not pass.
pub fn step_verdict(judgements: &[Verdict]) -> Verdict {
    let has = |wanted: Verdict| judgements.contains(&wanted);
    match () {
        () if has(Verdict::Error) => Verdict::Error,
        () if has(Verdict::Fail) => Verdict::Fail,
        () if has(Verdict::Inconclusive) => Verdict::Inconclusive,
        () if has(Verdict::Pass) && has(Verdict::NotRun) => Verdict::Inconclusive,
        () if has(Verdict::Pass) => Verdict::Pass,
        () => Verdict::NotRun,
    }
}

/// The verdict of a run from its steps and from what stopped it.
///
/// | among the steps, with the stop as one more | run |
/// | --- | --- |
/// | an error; or stopped by the bench | error |
/// | else a fail; or stopped because something was not dead, or because an isolated step failed | fail |
/// | else an inconclusive; or stopped by an interlock, a protection or a person | inconclusive |
/// | else a pass | pass |
/// | nothing but not run, or no step at all | not run |
///
/// A step that is not run because it does not apply to this nameplate takes nothing away. One that is not run because
/// of a stop need not be counted: the stop itself keeps the run from passing.
pub fn run_verdict(steps: &[Verdict], stop: Option<StopCause>) -> Verdict {
    let has = |wanted: Verdict| steps.contains(&wanted) || stop.map(verdict_of_stop) == Some(wanted);
    [Verdict::Error, Verdict::Fail, Verdict::Inconclusive, Verdict::Pass]
        .into_iter()
        .find(|verdict| has(*verdict))
        .unwrap_or(Verdict::NotRun)
}

/// What a stop says by itself about the run.
pub fn verdict_of_stop(stop: StopCause) -> Verdict {
    match stop {
        StopCause::Bench => Verdict::Error,
        StopCause::NotDead | StopCause::IsolatedStepFailed => Verdict::Fail,
        StopCause::Interlock | StopCause::Protection | StopCause::Person => Verdict::Inconclusive,
    }
}

/// Exit codes of the design's rule 13 in their precedence. Code 2 (wrong usage or a wrong file) arises before a run and
/// stands alone; should it ever meet another, it gives way to all but 0.
pub const PRECEDENCE: [u8; 7] = [6, 4, 5, 1, 3, 2, 0];

/// The one exit code of all that applied: 6, 4, 5, 1, 3, 0 in this order, and 2 only alone.
///
/// A code that does not exist, or no code at all, means that the program itself failed: 5.
pub fn exit_code(codes: &[u8]) -> u8 {
    if codes.is_empty() || codes.iter().any(|code| !PRECEDENCE.contains(code)) {
        let known: Vec<u8> = codes.iter().copied().filter(|code| PRECEDENCE.contains(code)).collect();
        return first_by_precedence(&known, 5);
    }
    first_by_precedence(codes, 0)
}

fn first_by_precedence(codes: &[u8], also: u8) -> u8 {
    PRECEDENCE
        .into_iter()
        .find(|code| codes.contains(code) || *code == also)
        .unwrap_or(also)
}

/// All codes that apply to a run, in their precedence and without repetition: for the `RunEnded` event.
///
/// `confirmed_dead` is what make safe read back at the end.
pub fn codes(steps: &[Verdict], stop: Option<StopCause>, confirmed_dead: bool) -> Vec<u8> {
    let mut all: Vec<u8> = steps
        .iter()
        .copied()
        .filter(|v| *v != Verdict::NotRun)
        .map(code_of)
        .collect();
    all.push(code_of(run_verdict(steps, stop)));
    all.extend(stop.map(code_of_stop));
    if !confirmed_dead {
        all.push(6);
    }
    let worse_than_green = all.iter().any(|code| *code != 0);
    PRECEDENCE
        .into_iter()
        .filter(|code| all.contains(code) && !(*code == 0 && worse_than_green))
        .collect()
}

/// The exit code that a verdict asks for. A run that ran nothing has shown nothing: 3.
pub fn code_of(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Pass => 0,
        Verdict::Fail => 1,
        Verdict::Inconclusive | Verdict::NotRun => 3,
        Verdict::Error => 5,
    }
}

fn code_of_stop(stop: StopCause) -> u8 {
    match stop {
        StopCause::Interlock | StopCause::Protection | StopCause::Person => 4,
        StopCause::NotDead | StopCause::IsolatedStepFailed => 1,
        StopCause::Bench => 5,
    }
}

#[cfg(test)]
mod tests {
    use super::{codes, exit_code, run_verdict, step_verdict};
    use crate::event::StopCause;
    use crate::words::Verdict::{self, Error, Fail, Inconclusive, NotRun, Pass};

    #[test]
    fn each_row_of_the_step_table() {
        let rows: [(&[Verdict], Verdict); 9] = [
            (&[Pass, Fail, Inconclusive, Error, NotRun], Error),
            (&[Inconclusive, Fail, Pass, NotRun], Fail),
            (&[Pass, Inconclusive, Pass], Inconclusive),
            (&[Inconclusive, NotRun], Inconclusive),
            (&[Pass, NotRun], Inconclusive),
            (&[Pass, Pass], Pass),
            (&[Pass], Pass),
            (&[NotRun, NotRun], NotRun),
            (&[], NotRun),
        ];
        for (judgements, wanted) in rows {
            assert_eq!(step_verdict(judgements), wanted, "{judgements:?}");
        }
    }

    #[test]
    fn each_row_of_the_run_table() {
        let rows: [(&[Verdict], Option<StopCause>, Verdict); 13] = [
            (&[Pass, Error, Fail], None, Error),
            (&[Pass, Fail], Some(StopCause::Bench), Error),
            (&[Pass, Fail, Inconclusive], None, Fail),
            (&[Pass], Some(StopCause::NotDead), Fail),
            (&[Pass], Some(StopCause::IsolatedStepFailed), Fail),
            (&[Pass, Inconclusive], None, Inconclusive),
            (&[Pass, NotRun], Some(StopCause::Interlock), Inconclusive),
            (&[Pass, NotRun], Some(StopCause::Protection), Inconclusive),
            (&[Pass, Pass], Some(StopCause::Person), Inconclusive),
            (&[Pass, NotRun], None, Pass),
            (&[Pass, Pass], None, Pass),
            (&[NotRun], None, NotRun),
            (&[], None, NotRun),
        ];
        for (steps, stop, wanted) in rows {
            assert_eq!(run_verdict(steps, stop), wanted, "{steps:?} {stop:?}");
        }
    }

    #[test]
    fn each_code_wins_over_all_that_follow_it() {
        let order = [6, 4, 5, 1, 3, 0];
        for (place, wanted) in order.iter().enumerate() {
            assert_eq!(exit_code(&order[place..]), *wanted);
            let mut backwards = order[place..].to_vec();
            backwards.reverse();
            assert_eq!(exit_code(&backwards), *wanted);
        }
    }

    #[test]
    fn code_2_stands_alone_and_never_turns_green() {
        assert_eq!(exit_code(&[2]), 2);
        assert_eq!(exit_code(&[2, 0]), 2);
        assert_eq!(exit_code(&[2, 1]), 1);
    }

    #[test]
    fn no_code_and_an_unknown_code_mean_that_the_program_failed() {
        assert_eq!(exit_code(&[]), 5);
        assert_eq!(exit_code(&[0, 77]), 5);
        assert_eq!(exit_code(&[1, 77]), 5);
        assert_eq!(exit_code(&[6, 77]), 6);
    }

    #[test]
    fn a_run_keeps_all_codes_that_applied() {
        assert_eq!(codes(&[Pass, Pass], None, true), [0]);
        assert_eq!(codes(&[Pass, NotRun], None, true), [0]);
        assert_eq!(codes(&[Pass, Fail, Inconclusive], None, true), [1, 3]);
        assert_eq!(codes(&[Pass, Error], Some(StopCause::Bench), true), [5]);
        assert_eq!(codes(&[Pass], Some(StopCause::Person), true), [4, 3]);
        assert_eq!(codes(&[Fail], Some(StopCause::NotDead), false), [6, 1]);
        assert_eq!(codes(&[Pass], None, false), [6]);
        assert_eq!(codes(&[], None, true), [3]);
    }
}
