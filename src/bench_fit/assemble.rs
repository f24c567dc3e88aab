//! All that can be said before plugging in, worked out from a fitted sequence.

use super::advice::{LeftOut, Mend, left_out, mends};
use super::hook_up::hook_up;
use crate::fitting::Fitted;
use pilotage_evidence::DecisionRule;
use pilotage_plan::fit::{Attendance, Decides, Fitness, attendance, fitness};
use pilotage_reports::hook_up::HookUp;
use std::collections::BTreeMap;

/// What a bench can do with an item.
pub struct BenchFit<'a> {
    /// What was fitted.
    pub fitted: &'a Fitted,
    /// Every limit, in the order of the steps.
    pub limits: Vec<Fitness>,
    /// What would mend those that are not decided, by their place in `limits`.
    pub mends: BTreeMap<usize, Mend>,
    /// Steps that this bench leaves out, or the sequence.
    pub left_out: Vec<LeftOut>,
    /// When a person is asked.
    pub attendance: Vec<Attendance>,
    /// What hangs on what.
    pub hook_up: HookUp,
}

impl<'a> BenchFit<'a> {
    /// Of a fitted sequence.
    pub fn of(fitted: &'a Fitted) -> Self {
        let limits = fitness(&fitted.program, &fitted.bench, &fitted.drivers);
        Self {
            mends: mends(fitted, &limits),
            left_out: left_out(fitted),
            attendance: attendance(&fitted.program, &fitted.bench, &fitted.drivers),
            hook_up: hook_up(fitted),
            limits,
            fitted,
        }
    }

    /// How many limits there are of each sort.
    pub fn counts(&self) -> BTreeMap<Decides, usize> {
        let mut counts = BTreeMap::new();
        for limit in &self.limits {
            *counts.entry(limit.decides).or_insert(0) += 1;
        }
        counts
    }

    /// 3 where a limit of a step that runs cannot be decided on this bench, else 0.
    pub fn exit_code(&self) -> u8 {
        if self.counts().contains_key(&Decides::No) { 3 } else { 0 }
    }

    /// Whether a person reads everything, and nothing of the bench is plugged.
    pub fn by_hand(&self) -> bool {
        self.fitted.program.hand_held
    }

    /// Whether guard bands enter verdicts.
    pub fn guard_banded(&self) -> bool {
        self.fitted.program.heading.decision_rule == DecisionRule::GuardBanded
    }
}
