//! A record judged again: nothing differs where nothing was changed, and every changed figure is named.
#![allow(clippy::unwrap_used)]

mod common;

use pilotage_core::{Contribution, NoValue, Tolerance, Uncertainty};
use pilotage_evidence::event::{Event, Judgement, Reading};
use pilotage_evidence::heading::LimitPlate;
use pilotage_evidence::record::JournalWriter;
use pilotage_evidence::rejudge::{Difference, rejudge};
use pilotage_evidence::{Record, SourceStatus, Verdict};
use tempfile::tempdir;

/// The sample run with one event changed by someone who can chain anew: only judging again can notice.
fn forged(change: impl Fn(&mut Event) -> bool) -> Vec<Difference> {
    let folder = tempdir().unwrap();
    let record = common::run(folder.path());
    let mut journal = JournalWriter::new(Vec::new(), "journal.txt");
    let mut changed = 0;
    for stamped in record.events() {
        let mut event = stamped.event.clone();
        changed += u32::from(changed == 0 && change(&mut event));
        journal.append(stamped.at, event).unwrap();
    }
    assert_eq!(changed, 1, "the change found its event");
    rejudge(&Record::from_bytes(&journal.into_sink().unwrap(), "journal.txt").unwrap())
}

fn forge_reading(name: &str, change: impl Fn(&mut Reading)) -> Vec<Difference> {
    forged(|event| match event {
        Event::Reading(reading) if reading.name == name => {
            change(reading);
            true
        }
        _ => false,
    })
}

fn forge_judgement(name: &str, change: impl Fn(&mut Judgement)) -> Vec<Difference> {
    forged(|event| match event {
        Event::Judged(judgement) if judgement.name == name => {
            change(judgement);
            true
        }
        _ => false,
    })
}

fn volts(reading: &mut Reading, si: f64) {
    reading.value.as_mut().unwrap().value = common::volts(si);
}

#[test]
fn an_untouched_record_comes_out_the_same() {
    let folder = tempdir().unwrap();
    assert_eq!(rejudge(&common::run(folder.path())), Vec::new());
}

#[test]
fn one_changed_reading_changes_what_follows_from_it() {
    // 1.0 V / 31.9 A fails 29 mΩ; 0.5 V would pass, so value, judgement, step and run come out differently.
    let differences = forge_reading("drop", |reading| volts(reading, 0.5));
    let what: Vec<&str> = differences.iter().map(|difference| difference.what.as_str()).collect();
    assert_eq!(what, ["r_path = $drop / $i_now"]);
    let differences = forge_reading("v_high", |reading| volts(reading, 9.6));
    let what: Vec<&str> = differences.iter().map(|difference| difference.what.as_str()).collect();
    assert_eq!(what, ["v_high against high level in state B", "step WU-13"]);
    assert!(differences[0].was.starts_with("pass") && differences[0].is.starts_with("fail"));
}

#[test]
fn a_changed_last_digit_of_a_computed_value_is_named() {
    let differences = forge_reading("r_path", |reading| {
        let measured = reading.value.as_mut().unwrap();
        measured.value = common::quantity(measured.value.si().next_up(), measured.value.dimension());
    });
    assert_eq!(differences[0].what, "r_path = $drop / $i_now");
}

#[test]
fn a_changed_judgement_is_named_with_both_outcomes() {
    let differences = forge_judgement("r_path", |judgement| judgement.verdict = Verdict::Pass);
    assert_eq!(differences.len(), 1);
    assert!(
        differences[0].was.starts_with("pass") && differences[0].is.starts_with("fail"),
        "{differences:?}"
    );
    for change in [
        |judgement: &mut Judgement| judgement.margin = Some(1.0),
        |judgement: &mut Judgement| judgement.risk = None,
        |judgement: &mut Judgement| judgement.expanded = Some(0.0),
        |judgement: &mut Judgement| judgement.reading = 0,
    ] {
        assert!(!forge_judgement("v_high", change).is_empty());
    }
}

#[test]
fn a_mark_may_be_added_and_not_removed() {
    let added = forge_judgement("close_delay", |judgement| {
        judgement.marks.push("calibration ended".to_owned());
    });
    assert_eq!(added, Vec::new());
    let removed = forge_judgement("close_delay", |judgement| judgement.marks.clear());
    assert_eq!(removed.len(), 1);
    assert!(removed[0].is.contains("limit from memory"));
}

#[test]
fn a_demand_on_the_bench_comes_out_as_an_error_again() {
    let of_bench = forge_judgement("r_path", |judgement| {
        judgement.verdict = Verdict::Error;
        judgement.marks.push("a demand on the bench".to_owned());
    });
    assert!(
        of_bench.iter().all(|difference| !difference.what.starts_with("r_path")),
        "{of_bench:?}"
    );
    // Met, it is a pass, and nothing makes an error of that.
    let met = forge_judgement("v_high", |judgement| {
        judgement.verdict = Verdict::Error;
        judgement.marks.push("a demand on the bench".to_owned());
    });
    assert!(met.iter().any(|difference| difference.what.starts_with("v_high")));
}

#[test]
fn a_claim_can_take_a_verdict_away_and_never_give_one() {
    let taken = forge_judgement("r_path", |judgement| {
        judgement.verdict = Verdict::Inconclusive;
        judgement.marks.push("inconclusive by the sequence".to_owned());
    });
    assert!(
        taken.iter().all(|difference| !difference.what.starts_with("r_path")),
        "{taken:?}"
    );
    let given = forge_judgement("r_path", |judgement| {
        judgement.verdict = Verdict::Pass;
        judgement.marks.push("inconclusive by the sequence".to_owned());
    });
    assert!(given.iter().any(|difference| difference.what.starts_with("r_path")));
}

#[test]
fn dead_is_worked_out_from_every_pair_and_every_proof() {
    for name in [
        "ac_output[L-N].voltage",
        "ac_output[N-PE].dc_voltage",
        "reference.voltage",
        "reference.dc_voltage",
    ] {
        let live = forge_reading(name, |reading| volts(reading, 231.0));
        assert!(
            live.iter()
                .any(|difference| difference.what.ends_with("dead") && difference.is == "false"),
            "{name}"
        );
        let gone = forge_reading(name, |reading| {
            reading.value = None;
            reading.no_value = Some(NoValue::TimedOut);
        });
        assert!(
            gone.iter()
                .any(|difference| difference.what.ends_with("dead") && difference.is == "false"),
            "{name}"
        );
    }
    let unlimited = forged(|event| match event {
        Event::Dead(statement) => {
            statement.limits.clear();
            true
        }
        _ => false,
    });
    assert!(unlimited.iter().any(|difference| difference.is.contains("four limits")));
}

#[test]
fn a_better_step_or_run_or_code_is_named() {
    let step = forged(|event| match event {
        Event::StepEnded { step: 1, verdict, .. } => {
            *verdict = Verdict::Pass;
            true
        }
        _ => false,
    });
    assert_eq!(
        (step[0].what.as_str(), step[0].was.as_str(), step[0].is.as_str()),
        ("step WU-40", "pass", "fail")
    );
    let run = forged(|event| match event {
        Event::RunEnded {
            verdict,
            exit_code,
            codes,
        } => {
            (*verdict, *exit_code, *codes) = (Verdict::Pass, 0, vec![0]);
            true
        }
        _ => false,
    });
    let what: Vec<&str> = run.iter().map(|difference| difference.what.as_str()).collect();
    assert_eq!(what, ["run", "codes that applied"]);
    let code = forged(|event| match event {
        Event::RunEnded { exit_code, .. } => {
            *exit_code = 0;
            true
        }
        _ => false,
    });
    assert_eq!(code.len(), 1);
}

/// The sample run with other events put in after the one that `place` names.
fn with_more(place: impl Fn(&Event) -> bool, more: Vec<Event>) -> Vec<Difference> {
    let folder = tempdir().unwrap();
    let record = common::run(folder.path());
    let mut journal = JournalWriter::new(Vec::new(), "journal.txt");
    let mut more = Some(more);
    for stamped in record.events() {
        journal.append(stamped.at, stamped.event.clone()).unwrap();
        if place(&stamped.event) {
            for event in more.take().unwrap_or_default() {
                journal.append(stamped.at, event).unwrap();
            }
        }
    }
    assert!(more.is_none(), "the place was found");
    rejudge(&Record::from_bytes(&journal.into_sink().unwrap(), "journal.txt").unwrap())
}

#[test]
fn names_of_analyses_are_not_taken_for_formulas() {
    for name in ["find", "wait_for", "must_not"] {
        let differences = forge_reading("close_delay", |reading| reading.formula = Some(name.to_owned()));
        assert_eq!(differences, Vec::new(), "{name}");
    }
    let broken = forge_reading("r_path", |reading| {
        reading.formula = Some("$drop / / $i_now".to_owned());
    });
    assert!(broken[0].is.contains("cannot be read"));
}

#[test]
fn a_computed_value_does_not_rest_on_what_came_later() {
    let differences = forge_reading("r_path", |reading| {
        reading.from.insert("drop".to_owned(), 10_000);
    });
    assert!(differences[0].is.starts_with("no value"), "{differences:?}");
}

#[test]
fn a_step_may_be_worse_than_its_judgements_where_it_says_why() {
    let change = |because: Option<&str>| {
        let because = because.map(str::to_owned);
        let differences = forged(move |event| match event {
            Event::StepEnded {
                step: 0,
                verdict,
                because: why,
                ..
            } => {
                *verdict = Verdict::Inconclusive;
                why.clone_from(&because);
                true
            }
            _ => false,
        });
        differences
            .into_iter()
            .map(|difference| difference.what)
            .collect::<Vec<_>>()
    };
    // The step stands; only the run's codes do not have it, because the sample run ended without it.
    assert_eq!(change(Some("did not settle")), ["codes that applied"]);
    assert_eq!(change(None), ["step WU-13"]);
}

#[test]
fn a_judgement_of_nothing_and_steps_beyond_the_heading_are_told_and_never_panic() {
    let folder = tempdir().unwrap();
    let record = common::run(folder.path());
    let judged = record.events().iter().find_map(|stamped| match &stamped.event {
        Event::Judged(judgement) => Some((**judgement).clone()),
        _ => None,
    });
    let mut judgement = judged.unwrap();
    (judgement.reading, judgement.step) = (u64::MAX, u32::MAX);
    let more = vec![
        Event::StepStarted { step: u32::MAX },
        Event::Judged(Box::new(judgement)),
        Event::StepEnded {
            step: u32::MAX,
            verdict: Verdict::Pass,
            because: None,
            side: None,
        },
    ];
    let differences = with_more(|event| matches!(event, Event::StepEnded { step: 2, .. }), more);
    let what: Vec<&str> = differences.iter().map(|difference| difference.what.as_str()).collect();
    assert_eq!(
        what,
        [
            "v_high against high level in state B",
            "step ?",
            "run",
            "codes that applied"
        ]
    );
}

/// A record of an earlier version kept one uncertainty, without a list.
#[test]
fn one_bound_of_an_earlier_record_is_read() {
    let one = Uncertainty::Known(vec![Contribution::normal("meter", 0.3)]);
    let plate = LimitPlate {
        bounds: vec![one.clone()],
        ..common::plate("t", Tolerance::AtMost(common::volts(1.0)), "V", SourceStatus::Restated)
    };
    let mut json = serde_json::to_value(&plate).unwrap();
    json["bounds"] = serde_json::to_value(&one).unwrap();
    assert_eq!(serde_json::from_value::<LimitPlate>(json).unwrap(), plate);
}
