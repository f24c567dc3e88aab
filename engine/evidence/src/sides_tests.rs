//! Each row of the table of sides.
#![allow(clippy::unwrap_used)]

use super::*;
use crate::heading::StepHead;
use crate::outcome::Judged;

fn outcome(number: u32, id: &str, verdict: Verdict) -> Outcome {
    Outcome {
        head: StepHead {
            number,
            id: id.to_owned(),
            title: format!("title of {id}"),
            place: "a.yaml:1".to_owned(),
            fail_means: None,
            look_next: vec![format!("look at {id}")],
            pictures: Vec::new(),
        },
        verdict,
        because: None,
        side: None,
        void: None,
        judgements: vec![Judged {
            seq: u64::from(number) * 10 + 7,
            verdict,
            title: "limit".to_owned(),
        }],
        troubles: Vec::new(),
    }
}

fn rule(id: &str, failed: &[&str], inconclusive: &[&str], side: Side, kind: &str) -> SideRule {
    let owned = |ids: &[&str]| ids.iter().map(|id| (*id).to_owned()).collect();
    SideRule {
        id: id.to_owned(),
        if_failed: owned(failed),
        if_inconclusive: owned(inconclusive),
        side,
        kind: kind.to_owned(),
        says: format!("{id} says"),
        cheapest_next: format!("{id} next"),
    }
}

fn shipped() -> Vec<SideRule> {
    vec![
        rule("slow", &["WU-19", "WU-21"], &[], Side::WallUnit, "time"),
        rule("level", &["WU-14"], &[], Side::WallUnit, "level"),
        rule("cable", &["WU-40"], &[], Side::CableOrInlet, "level"),
        rule("waits", &[], &["WU-13"], Side::Settings, "level"),
    ]
}

fn state_of(outcomes: &[Outcome]) -> SideStatement {
    state(ItemKind::WallUnit, outcomes, &shipped())
}

#[test]
fn rows_1_and_2_a_bench_that_failed_speaks_about_itself() {
    let mut error = outcome(1, "WU-15", Verdict::Error);
    error.troubles.push((15, "plug the meter in again".to_owned()));
    let alone = state_of(&[outcome(0, "WU-14", Verdict::Pass), error.clone()]);
    assert_eq!((alone.side, alone.strength), (Side::Bench, Strength::Stated));
    assert_eq!(alone.cheapest_next, "plug the meter in again");
    assert_eq!(alone.reasons_for[0].judgements, [15, 17]);
    let both = state_of(&[outcome(0, "WU-14", Verdict::Fail), error]);
    assert_eq!((both.side, both.strength), (Side::Bench, Strength::Likely));
    assert_eq!(both.reasons_against[0].id, "WU-14");
}

#[test]
fn row_3_an_item_that_waits_is_settings_and_explains_what_fails_later() {
    let waits = outcome(0, "WU-13", Verdict::Inconclusive);
    let slow = outcome(1, "WU-19", Verdict::Fail);
    let statement = state_of(&[waits.clone(), slow]);
    assert_eq!((statement.side, statement.strength), (Side::Settings, Strength::Likely));
    assert_eq!(
        (statement.says.as_str(), statement.cheapest_next.as_str()),
        ("waits says", "waits next")
    );
    assert_eq!(statement.reasons_for[0].judgements, [7]);
    assert_eq!(statement.reasons_against[0].id, "WU-19");
    // A fail before the waiting is not explained by it.
    let earlier = outcome(0, "WU-14", Verdict::Fail);
    let mut later = waits;
    later.head.number = 1;
    assert_eq!(state_of(&[earlier, later]).side, Side::WallUnit);
}

#[test]
fn row_3_works_by_the_claim_of_the_sequence_alone() {
    let mut waits = outcome(0, "WU-99", Verdict::Inconclusive);
    waits.side = Some(Side::Settings);
    waits.because = Some("waits for authorisation".to_owned());
    let statement = state_of(&[waits]);
    assert_eq!((statement.side, statement.strength), (Side::Settings, Strength::Likely));
    assert_eq!(statement.says, "waits for authorisation");
    assert_eq!(statement.cheapest_next, "look at WU-99");
}

#[test]
fn row_4_one_kind_is_likely_and_two_kinds_from_two_steps_are_stated() {
    let slow = outcome(0, "WU-19", Verdict::Fail);
    let slower = outcome(1, "WU-21", Verdict::Fail);
    let level = outcome(2, "WU-14", Verdict::Fail);
    assert_eq!(state_of(std::slice::from_ref(&slow)).strength, Strength::Likely);
    assert_eq!(
        state_of(&[slow.clone(), slower]).strength,
        Strength::Likely,
        "both are of the kind time"
    );
    let statement = state_of(&[slow, level]);
    assert_eq!((statement.side, statement.strength), (Side::WallUnit, Strength::Stated));
    assert_eq!(statement.reasons_for.len(), 2);
}

#[test]
fn row_4_two_kinds_of_the_same_step_are_not_independent() {
    let mut rules = shipped();
    rules.push(rule("also", &["WU-19"], &[], Side::WallUnit, "order"));
    let statement = state(ItemKind::WallUnit, &[outcome(0, "WU-19", Verdict::Fail)], &rules);
    assert_eq!(statement.strength, Strength::Likely);
}

#[test]
fn row_4_what_looks_healthy_counts_against() {
    let slow = outcome(0, "WU-19", Verdict::Fail);
    let quick = outcome(1, "WU-21", Verdict::Pass);
    let statement = state_of(&[slow.clone(), quick.clone()]);
    assert_eq!(
        (
            statement.reasons_against[0].id.as_str(),
            statement.reasons_against[0].kind.as_str()
        ),
        ("WU-21", "healthy")
    );
    assert_eq!(statement.reasons_against[0].judgements, [17]);
    // Between two sides with one kind each, the one with a healthy reading against it loses.
    let path = outcome(2, "WU-40", Verdict::Fail);
    assert_eq!(state_of(&[slow, quick, path]).side, Side::CableOrInlet);
}

#[test]
fn row_5_two_sides_alike_are_not_decidable() {
    let level = outcome(0, "WU-14", Verdict::Fail);
    let path = outcome(1, "WU-40", Verdict::Fail);
    let statement = state_of(&[level, path]);
    assert_eq!(
        (statement.side, statement.strength),
        (Side::NotDecidable, Strength::NotDecidable)
    );
    assert_eq!(statement.reasons_for.len(), 2);
}

#[test]
fn row_5_a_fail_without_a_rule_says_so_and_what_to_look_at() {
    let statement = state_of(&[outcome(0, "WU-77", Verdict::Fail)]);
    assert_eq!(statement.side, Side::NotDecidable);
    assert_eq!(statement.cheapest_next, "look at WU-77");
    assert!(statement.says.contains("WU-77") && statement.says.contains("no rule"));
}

#[test]
fn rows_6_to_8_nothing_found_left_out_and_nothing_judged() {
    let mut skipped = outcome(1, "WU-19", Verdict::NotRun);
    skipped.because = Some("does not apply: a socket".to_owned());
    let statement = state_of(&[outcome(0, "WU-14", Verdict::Pass), skipped.clone()]);
    assert_eq!(statement.strength, Strength::NotDecidable);
    assert!(
        statement.says.starts_with("Nothing was found on the wall unit."),
        "{}",
        statement.says
    );
    skipped.because = Some(format!("{}the enclosure was opened", crate::outcome::STOPPED_BEFORE));
    let statement = state_of(&[outcome(0, "WU-14", Verdict::Pass), skipped]);
    assert!(statement.says.contains("as far as the run came"), "{}", statement.says);
    let statement = state_of(&[outcome(0, "WU-14", Verdict::NotRun)]);
    assert!(statement.says.starts_with("Nothing was judged"));
}
