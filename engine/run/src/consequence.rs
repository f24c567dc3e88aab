//! What a verdict changes: the only arrow back from evidence to acts, in one `match`.
//!
//! A fail in an isolated step withholds every energising permit; a failed *dead* or interlock stops the run, and so does a failed
//! check of a bench that has no permits to withhold; any other fail goes on.

use pilotage_evidence::Verdict;
use pilotage_evidence::event::StopCause;

/// What was noticed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Noticed {
    /// A step ended.
    StepEnded {
        /// Whether it ran in *isolated*.
        isolated: bool,
        /// Its verdict.
        verdict: Verdict,
    },
    /// A check of a bench that cannot energise ended in error: no permit stands between it and what follows, and the readings
    /// that follow would blame the item.
    BenchUnfit,
    /// A pair of conductors that must be dead was not, or could not be proven dead.
    NotDead,
    /// An interlock did not hold, or its check was missed.
    Interlock,
    /// A protection did not hold, or its check was missed.
    Protection,
}

/// What is done next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Consequence {
    /// The next step.
    GoOn,
    /// Steps that energise nothing still run; the first one that would energise ends the run.
    WithholdPermits,
    /// The run stops and makes safe.
    Stop(StopCause),
}

/// The consequence of what was noticed.
///
/// An *error* in an isolated step withholds permits as a fail does: what should have shown that the item may be energised
/// was not measured.
pub fn of(noticed: Noticed) -> Consequence {
    match noticed {
        Noticed::StepEnded {
            isolated: true,
            verdict: Verdict::Fail | Verdict::Error,
        } => Consequence::WithholdPermits,
        Noticed::StepEnded { .. } => Consequence::GoOn,
        Noticed::BenchUnfit => Consequence::Stop(StopCause::Bench),
        Noticed::NotDead => Consequence::Stop(StopCause::NotDead),
        Noticed::Interlock => Consequence::Stop(StopCause::Interlock),
        Noticed::Protection => Consequence::Stop(StopCause::Protection),
    }
}

#[cfg(test)]
mod tests {
    use super::{Consequence, Noticed, of};
    use pilotage_evidence::Verdict::{Error, Fail, Inconclusive, NotRun, Pass};
    use pilotage_evidence::event::StopCause;

    #[test]
    fn each_row_of_the_flow() {
        for verdict in [Pass, Inconclusive, NotRun] {
            let noticed = Noticed::StepEnded {
                isolated: true,
                verdict,
            };
            assert_eq!(of(noticed), Consequence::GoOn);
        }
        for verdict in [Fail, Error] {
            let isolated = Noticed::StepEnded {
                isolated: true,
                verdict,
            };
            assert_eq!(of(isolated), Consequence::WithholdPermits);
            let energised = Noticed::StepEnded {
                isolated: false,
                verdict,
            };
            assert_eq!(of(energised), Consequence::GoOn);
        }
        assert_eq!(of(Noticed::BenchUnfit), Consequence::Stop(StopCause::Bench));
        assert_eq!(of(Noticed::NotDead), Consequence::Stop(StopCause::NotDead));
        assert_eq!(of(Noticed::Interlock), Consequence::Stop(StopCause::Interlock));
        assert_eq!(of(Noticed::Protection), Consequence::Stop(StopCause::Protection));
    }
}
