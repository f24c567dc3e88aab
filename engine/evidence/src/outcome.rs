//! What each step of a run came to, gathered from its events: the ground for sides, for judging again and for reports.

use crate::event::{Event, Stamped};
use crate::heading::{Heading, StepHead};
use crate::void;
use crate::words::{Side, Verdict};

/// What one step came to.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// As listed before the run.
    pub head: StepHead,
    /// Its verdict; not run where the run never came to its end.
    pub verdict: Verdict,
    /// In words where it is not a pass.
    pub because: Option<String>,
    /// Side that the sequence claims for it.
    pub side: Option<Side>,
    /// Why nothing that it read counts any more, where that is so.
    pub void: Option<String>,
    /// Sequence number, verdict and title of each judgement.
    pub judgements: Vec<Judged>,
    /// Sequence numbers of its troubles, each with how to mend it.
    pub troubles: Vec<(u64, String)>,
}

/// How a step that does not apply to the nameplate says so.
const DOES_NOT_APPLY: &str = "does not apply";
/// How a step that a stop left out begins its reason; what stopped the run follows.
pub const STOPPED_BEFORE: &str = "not run, stopped before: ";

impl Outcome {
    /// Whether it was not run because it does not apply to this nameplate: the only reason that takes nothing away.
    pub fn does_not_apply(&self) -> bool {
        let says = self
            .because
            .as_deref()
            .is_some_and(|why| why.starts_with(DOES_NOT_APPLY));
        self.verdict == Verdict::NotRun && says
    }

    /// Whether it should have been run and was not.
    pub fn was_left_out(&self) -> bool {
        self.verdict == Verdict::NotRun && !self.does_not_apply()
    }
}

/// One judgement of a step, as far as sides need it.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// Sequence number in the journal.
    pub seq: u64,
    /// Its verdict.
    pub verdict: Verdict,
    /// What was judged, in words.
    pub title: String,
}

/// Gathers the outcomes of all steps of the heading, in its order.
pub fn outcomes(heading: &Heading, events: &[Stamped]) -> Vec<Outcome> {
    let mut all: Vec<Outcome> = heading.steps.iter().map(untouched).collect();
    let mut current = None;
    for stamped in events {
        match &stamped.event {
            Event::StepStarted { step } => current = Some(*step as usize),
            Event::StepEnded { .. } => {
                note(&mut all, current, stamped);
                current = None;
            }
            _ => note(&mut all, current, stamped),
        }
    }
    take_away(&mut all, heading);
    all
}

/// What counts no more is inconclusive, and that is the bench's.
fn take_away(all: &mut [Outcome], heading: &Heading) {
    let verdicts: Vec<Verdict> = all.iter().map(|outcome| outcome.verdict).collect();
    for (step, closing) in void::voided(&heading.closings, &verdicts) {
        let Some(outcome) = all.get_mut(step as usize) else {
            continue;
        };
        let words = void::words(heading, closing);
        outcome.verdict = Verdict::Inconclusive;
        outcome.because = Some(words.clone());
        outcome.side = Some(Side::Bench);
        outcome.void = Some(words);
        for judged in &mut outcome.judgements {
            judged.verdict = void::of_row(judged.verdict);
        }
    }
}

fn untouched(head: &StepHead) -> Outcome {
    Outcome {
        head: head.clone(),
        verdict: Verdict::NotRun,
        because: None,
        side: None,
        void: None,
        judgements: Vec::new(),
        troubles: Vec::new(),
    }
}

fn note(all: &mut [Outcome], current: Option<usize>, stamped: &Stamped) {
    match &stamped.event {
        Event::StepEnded {
            step,
            verdict,
            because,
            side,
        } => {
            if let Some(outcome) = all.get_mut(*step as usize) {
                outcome.verdict = *verdict;
                outcome.because.clone_from(because);
                outcome.side = *side;
            }
        }
        Event::Judged(judgement) => {
            if let Some(outcome) = all.get_mut(judgement.step as usize) {
                outcome.judgements.push(Judged {
                    seq: stamped.seq,
                    verdict: judgement.verdict,
                    title: judgement.limit.title.clone(),
                });
            }
        }
        Event::Dead(statement) => {
            if let Some(outcome) = current.and_then(|step| all.get_mut(step)) {
                outcome.judgements.push(Judged {
                    seq: stamped.seq,
                    verdict: if statement.dead { Verdict::Pass } else { Verdict::Fail },
                    title: statement.sentence.clone(),
                });
            }
        }
        Event::Trouble(trouble) => {
            if let Some(outcome) = current.and_then(|step| all.get_mut(step)) {
                outcome.troubles.push((stamped.seq, trouble.mend.clone()));
            }
        }
        _ => {}
    }
}
