//! From what the steps came to, to a statement about sides: for, against, and the cheapest next check.
//!
//! Two independent kinds of evidence make a statement, one says "likely". What looks healthy counts against. A bench that
//! failed speaks about itself and not about the item.

use crate::beside::beside_judgements;
use crate::heading::StepHead;
use crate::outcome::Outcome;
use crate::words::{ItemKind, Side, Verdict};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// One rule of a sides file: what an outcome of a step says about a side.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SideRule {
    /// Its id.
    pub id: String,
    /// Step ids of which one failed.
    #[serde(default)]
    pub if_failed: Vec<String>,
    /// Step ids of which one was inconclusive.
    #[serde(default)]
    pub if_inconclusive: Vec<String>,
    /// The side that it speaks for.
    pub side: Side,
    /// Kind of evidence: `level`, `time`, `swap` or `order`.
    pub kind: String,
    /// In the technician's words.
    pub says: String,
    /// The cheapest next check.
    pub cheapest_next: String,
}

/// How strong a statement is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Strength {
    /// At least two independent kinds of evidence.
    Stated,
    /// One kind of evidence.
    Likely,
    /// The readings do not say.
    NotDecidable,
}

/// What a run says about sides.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SideStatement {
    /// The side.
    pub side: Side,
    /// How strong the statement is.
    pub strength: Strength,
    /// What speaks for it.
    #[serde(rename = "for")]
    pub reasons_for: Vec<Reason>,
    /// What speaks against it.
    #[serde(rename = "against")]
    pub reasons_against: Vec<Reason>,
    /// The cheapest next check.
    pub cheapest_next: String,
    /// One sentence.
    pub says: String,
}

/// One reason, with the judgements that it rests on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reason {
    /// The side that this reason by itself speaks for.
    pub side: Side,
    /// Id of the rule; `step` where the sequence itself claims the side; `reading` where a step looked healthy.
    pub rule: String,
    /// Kind of evidence.
    pub kind: String,
    /// Index of the step.
    pub step: u32,
    /// Id of the step.
    pub id: String,
    /// Outcome of the step.
    pub verdict: Verdict,
    /// Sequence numbers of the judgements (or troubles) in the journal.
    pub judgements: Vec<u64>,
    /// In words.
    pub says: String,
}

/// States on which side the fault lies.
///
/// | # | among the steps | side | strength |
/// | --- | --- | --- | --- |
/// | 1 | an error, no fail | bench | stated |
/// | 2 | an error and a fail | bench | likely; the fails stand against it |
/// | 3 | something for `settings` before the first fail | settings | likely or stated; later fails stand against it |
/// | 4 | fails or inconclusives with rules or claims for one side, or most for one | that side | two kinds from two steps: stated, else likely |
/// | 5 | two sides equally supported, or a fail about which no rule speaks | not decidable | not decidable |
/// | 6 | nothing but passes | not decidable | not decidable: nothing found on the item |
/// | 7 | passes, and steps that were left out | not decidable | not decidable: nothing found as far as the run came |
/// | 8 | nothing judged | not decidable | not decidable |
pub fn state(kind: ItemKind, outcomes: &[Outcome], rules: &[SideRule]) -> SideStatement {
    if outcomes.iter().any(|outcome| outcome.verdict == Verdict::Error) {
        return bench_failed(outcomes, rules);
    }
    let reasons = reasons(outcomes, rules);
    if let Some(statement) = settings_first(outcomes, rules, &reasons) {
        return statement;
    }
    match best_side(&reasons, outcomes, rules) {
        Some(side) => for_side(side, &reasons, outcomes, rules),
        None if reasons.is_empty() => nothing_speaks(kind, outcomes),
        None => equally_supported(reasons, rules),
    }
}

/// All reasons that rules give, and the sequence's own claims where no rule speaks about that step.
fn reasons(outcomes: &[Outcome], rules: &[SideRule]) -> Vec<Reason> {
    let mut all = Vec::new();
    for outcome in outcomes {
        let before = all.len();
        let speaking = rules.iter().filter(|rule| speaks_about(rule, outcome));
        all.extend(speaking.map(|rule| reason(outcome, rule.side, &rule.id, &rule.kind, &rule.says)));
        let trouble = matches!(outcome.verdict, Verdict::Fail | Verdict::Inconclusive);
        if let (true, true, Some(side)) = (all.len() == before, trouble, outcome.side) {
            let says = claim(outcome).or_else(|| outcome.head.fail_means.clone());
            all.push(reason(
                outcome,
                side,
                "step",
                "step",
                &says.unwrap_or_else(|| outcome.head.title.clone()),
            ));
        }
    }
    all
}

/// What the run said beside its judgements, which every report prints anyway.
fn claim(outcome: &Outcome) -> Option<String> {
    let titles = outcome.judgements.iter().map(|judged| judged.title.as_str());
    beside_judgements(outcome.because.as_deref()?, titles)
}

fn speaks_about(rule: &SideRule, outcome: &Outcome) -> bool {
    let ids = match outcome.verdict {
        Verdict::Fail => &rule.if_failed,
        Verdict::Inconclusive => &rule.if_inconclusive,
        Verdict::Pass | Verdict::Error | Verdict::NotRun => return false,
    };
    ids.contains(&outcome.head.id)
}

fn reason(outcome: &Outcome, side: Side, rule: &str, kind: &str, says: &str) -> Reason {
    let same = outcome
        .judgements
        .iter()
        .filter(|judged| judged.verdict == outcome.verdict);
    Reason {
        side,
        rule: rule.to_owned(),
        kind: kind.to_owned(),
        step: outcome.head.number,
        id: outcome.head.id.clone(),
        verdict: outcome.verdict,
        judgements: same.map(|judged| judged.seq).collect(),
        says: says.to_owned(),
    }
}

/// Rows 1 and 2.
fn bench_failed(outcomes: &[Outcome], rules: &[SideRule]) -> SideStatement {
    let errors: Vec<&Outcome> = outcomes
        .iter()
        .filter(|outcome| outcome.verdict == Verdict::Error)
        .collect();
    let reasons_for = errors.iter().map(|outcome| bench_reason(outcome)).collect();
    let mut reasons_against = reasons(outcomes, rules);
    reasons_against.retain(|reason| reason.verdict == Verdict::Fail && reason.side != Side::Bench);
    let failed = outcomes.iter().any(|outcome| outcome.verdict == Verdict::Fail);
    let mends = errors
        .iter()
        .flat_map(|outcome| &outcome.troubles)
        .map(|(_, mend)| mend);
    let cheapest_next = mends.into_iter().next().cloned();
    SideStatement {
        side: Side::Bench,
        strength: if failed { Strength::Likely } else { Strength::Stated },
        reasons_for,
        reasons_against,
        cheapest_next: cheapest_next
            .unwrap_or_else(|| "look at the instrument and its link, then run again".to_owned()),
        says: "The bench could not do what was asked of it; this says nothing about the item.".to_owned(),
    }
}

fn bench_reason(outcome: &Outcome) -> Reason {
    let says = outcome
        .because
        .clone()
        .unwrap_or_else(|| format!("{} ended in an error", outcome.head.title));
    let mut reason = reason(outcome, Side::Bench, "step", "error", &says);
    reason.judgements.extend(outcome.troubles.iter().map(|(seq, _)| *seq));
    reason.judgements.sort_unstable();
    reason
}

/// Row 3: an item that waits explains what fails after it, so the setting is looked at first.
fn settings_first(outcomes: &[Outcome], rules: &[SideRule], reasons: &[Reason]) -> Option<SideStatement> {
    let waits = reasons
        .iter()
        .filter(|reason| reason.side == Side::Settings)
        .map(|reason| reason.step)
        .min()?;
    let failed = reasons
        .iter()
        .filter(|reason| reason.verdict == Verdict::Fail && reason.side != Side::Settings);
    let earlier = failed
        .map(|reason| reason.step)
        .min()
        .is_some_and(|first| first < waits);
    (!earlier).then(|| for_side(Side::Settings, reasons, outcomes, rules))
}

/// The side with the most support; `None` where two have the same, or none has any.
fn best_side(reasons: &[Reason], outcomes: &[Outcome], rules: &[SideRule]) -> Option<Side> {
    let sides: BTreeSet<Side> = reasons
        .iter()
        .map(|reason| reason.side)
        .filter(|side| *side != Side::NotDecidable)
        .collect();
    let weigh = |side: Side| {
        let own: Vec<&Reason> = reasons.iter().filter(|reason| reason.side == side).collect();
        let fails = own.iter().any(|reason| reason.verdict == Verdict::Fail);
        let healthy = healthy(side, outcomes, rules).len();
        (fails, independent_kinds(&own), std::cmp::Reverse(healthy))
    };
    let best = sides.iter().map(|side| weigh(*side)).max()?;
    let mut winners = sides.iter().filter(|side| weigh(**side) == best);
    let winner = *winners.next()?;
    winners.next().is_none().then_some(winner)
}

/// Kinds of evidence that come from different steps: two kinds read off the same step are not independent.
fn independent_kinds(reasons: &[&Reason]) -> usize {
    let kinds: BTreeSet<&str> = reasons.iter().map(|reason| reason.kind.as_str()).collect();
    let steps: BTreeSet<u32> = reasons.iter().map(|reason| reason.step).collect();
    kinds.len().min(steps.len())
}

/// Steps that passed although a rule for this side, which did speak, names them too.
fn healthy(side: Side, outcomes: &[Outcome], rules: &[SideRule]) -> Vec<Reason> {
    let spoken = |rule: &&SideRule| rule.side == side && outcomes.iter().any(|outcome| speaks_about(rule, outcome));
    let named: BTreeSet<&str> = rules
        .iter()
        .filter(spoken)
        .flat_map(|rule| rule.if_failed.iter().chain(&rule.if_inconclusive))
        .map(String::as_str)
        .collect();
    let passed = outcomes
        .iter()
        .filter(|outcome| outcome.verdict == Verdict::Pass && named.contains(outcome.head.id.as_str()));
    passed
        .map(|outcome| {
            let says = format!("{} passed", outcome.head.title);
            reason(outcome, Side::NotDecidable, "reading", "healthy", &says)
        })
        .collect()
}

/// Rows 3 and 4.
fn for_side(side: Side, reasons: &[Reason], outcomes: &[Outcome], rules: &[SideRule]) -> SideStatement {
    let (reasons_for, others): (Vec<Reason>, Vec<Reason>) =
        reasons.iter().cloned().partition(|reason| reason.side == side);
    let own: Vec<&Reason> = reasons_for.iter().collect();
    let strength = if independent_kinds(&own) >= 2 {
        Strength::Stated
    } else {
        Strength::Likely
    };
    let mut reasons_against = healthy(side, outcomes, rules);
    reasons_against.extend(others);
    SideStatement {
        side,
        strength,
        cheapest_next: cheapest_next(&reasons_for, outcomes, rules),
        says: reasons_for
            .first()
            .map(|reason| reason.says.clone())
            .unwrap_or_default(),
        reasons_for,
        reasons_against,
    }
}

/// The first speaking rule's check; where only the sequence speaks, what its step says to look at.
fn cheapest_next(reasons: &[Reason], outcomes: &[Outcome], rules: &[SideRule]) -> String {
    let from_rule = reasons
        .iter()
        .find_map(|reason| rules.iter().find(|rule| rule.id == reason.rule));
    let from_step = || {
        let steps = reasons
            .iter()
            .filter_map(|reason| outcomes.iter().find(|outcome| outcome.head.number == reason.step));
        steps.flat_map(|outcome| &outcome.head.look_next).next().cloned()
    };
    from_rule
        .map(|rule| rule.cheapest_next.clone())
        .or_else(from_step)
        .unwrap_or_default()
}

/// Rows 5 to 8, where no rule and no step speaks.
fn nothing_speaks(kind: ItemKind, outcomes: &[Outcome]) -> SideStatement {
    let troubled = |outcome: &&Outcome| matches!(outcome.verdict, Verdict::Fail | Verdict::Inconclusive);
    let (cheapest_next, says) = match outcomes.iter().find(troubled) {
        Some(outcome) => no_rule_speaks(outcome),
        None => nothing_found(kind, outcomes),
    };
    let reasons_for = outcomes.iter().filter(troubled).map(claimless).collect();
    undecided(reasons_for, cheapest_next, says)
}

fn no_rule_speaks(outcome: &Outcome) -> (String, String) {
    let StepHead {
        id, title, look_next, ..
    } = &outcome.head;
    let says = format!("{title} ({id}) did not pass, and no rule says on which side that lies.");
    (look_next.first().cloned().unwrap_or_default(), says)
}

fn nothing_found(kind: ItemKind, outcomes: &[Outcome]) -> (String, String) {
    let (item, elsewhere) = (named(kind), look_elsewhere(kind));
    let passed = outcomes.iter().any(|outcome| outcome.verdict == Verdict::Pass);
    let left_out = outcomes.iter().any(Outcome::was_left_out);
    match (passed, left_out) {
        (false, _) => (
            String::new(),
            "Nothing was judged, so nothing can be said about sides.".to_owned(),
        ),
        (true, true) => (
            "run the steps that were not run".to_owned(),
            format!("Nothing was found on {item} as far as the run came; some steps were not run."),
        ),
        (true, false) => (format!("look at {elsewhere}"), format!("Nothing was found on {item}.")),
    }
}

fn claimless(outcome: &Outcome) -> Reason {
    reason(outcome, Side::NotDecidable, "step", "step", &outcome.head.title)
}

/// Row 5.
fn equally_supported(reasons: Vec<Reason>, rules: &[SideRule]) -> SideStatement {
    let next = reasons
        .iter()
        .find_map(|reason| rules.iter().find(|rule| rule.id == reason.rule));
    let cheapest_next = next.map(|rule| rule.cheapest_next.clone()).unwrap_or_default();
    undecided(
        reasons,
        cheapest_next,
        "The readings speak for more than one side alike.".to_owned(),
    )
}

fn undecided(reasons_for: Vec<Reason>, cheapest_next: String, says: String) -> SideStatement {
    SideStatement {
        side: Side::NotDecidable,
        strength: Strength::NotDecidable,
        reasons_for,
        reasons_against: Vec::new(),
        cheapest_next,
        says,
    }
}

fn named(kind: ItemKind) -> &'static str {
    match kind {
        ItemKind::WallUnit => "the wall unit",
        ItemKind::PortableCord => "the portable cord",
        ItemKind::OnboardCharger => "the on-board charger",
        ItemKind::Inlet => "the inlet",
        ItemKind::CableAssembly => "the cable",
        ItemKind::ChargingSession => "the charging session",
        ItemKind::Bench => "the bench",
    }
}

fn look_elsewhere(kind: ItemKind) -> &'static str {
    match kind {
        ItemKind::WallUnit => "the vehicle, the installation and the settings",
        ItemKind::PortableCord => "the socket outlet, the installation and the vehicle",
        ItemKind::OnboardCharger => "the wall unit, the cable and the inlet",
        ItemKind::Inlet => "the on-board charger and the wall unit",
        ItemKind::CableAssembly => "the wall unit and the vehicle",
        ItemKind::ChargingSession => "each of the two alone, on the bench",
        ItemKind::Bench => "the item",
    }
}

#[cfg(test)]
#[path = "sides_tests.rs"]
mod tests;
