//! What happened around the steps: cautions, questions, dead statements, watches, stops, troubles, make safe.

use super::rows;
use super::text::seconds;
use super::types::{AnswerRow, CautionRow, DeadPairRow, DeadRow, MadeSafePart, StopRow, TroubleRow, WatchRow};
use crate::event::{DeadStatement, Event, Stamped, StopCause, Trouble};
use crate::record::Record;
use std::collections::BTreeMap;

pub(super) fn cautions(record: &Record) -> Vec<CautionRow> {
    let acknowledged = |index: usize| {
        record.events().iter().find_map(|stamped| match &stamped.event {
            Event::CautionAcknowledged { caution, by } if *caution as usize == index => {
                Some((by.clone(), seconds(stamped.at)))
            }
            _ => None,
        })
    };
    let texts = record.heading().cautions.iter().enumerate();
    texts
        .map(|(index, caution)| {
            let (acknowledged_by, at_s) = acknowledged(index).unzip();
            CautionRow {
                signal: caution.signal,
                text: caution.text.clone(),
                acknowledged_by,
                at_s,
            }
        })
        .collect()
}

/// Each event of one kind, in order.
fn each<T>(record: &Record, make: impl Fn(&Stamped) -> Option<T>) -> Vec<T> {
    record.events().iter().filter_map(make).collect()
}

pub(super) fn answers(record: &Record) -> Vec<AnswerRow> {
    each(record, |stamped| match &stamped.event {
        Event::Asked {
            prompt,
            answer,
            by,
            hands,
        } => Some(AnswerRow {
            at_s: seconds(stamped.at),
            seq: stamped.seq,
            prompt: prompt.clone(),
            answer: answer.clone(),
            by: by.clone(),
            hands: *hands,
        }),
        _ => None,
    })
}

pub(super) fn dead(record: &Record) -> Vec<DeadRow> {
    each(record, |stamped| match &stamped.event {
        Event::Dead(statement) => Some(dead_row(record, stamped, statement)),
        _ => None,
    })
}

fn dead_row(record: &Record, stamped: &Stamped, statement: &DeadStatement) -> DeadRow {
    let pairs = statement.pairs.iter().map(|pair| DeadPairRow {
        pair: pair.pair.clone(),
        ac: rows::in_words(record, pair.ac),
        dc: rows::in_words(record, pair.dc),
        dead: pair.dead,
    });
    DeadRow {
        seq: stamped.seq,
        at_s: seconds(stamped.at),
        at: statement.at.clone(),
        dead: statement.dead,
        sentence: statement.sentence.clone(),
        burden: statement.burden.clone(),
        pairs: pairs.collect(),
        proofs: statement
            .proofs
            .iter()
            .map(|seq| rows::in_words(record, *seq))
            .collect(),
    }
}

pub(super) fn stops(record: &Record) -> Vec<StopRow> {
    each(record, |stamped| match &stamped.event {
        Event::Stopped { by, why } => Some(StopRow {
            at_s: seconds(stamped.at),
            by: cause(*by).to_owned(),
            why: why.clone(),
        }),
        _ => None,
    })
}

fn cause(by: StopCause) -> &'static str {
    match by {
        StopCause::Interlock => "an interlock",
        StopCause::Protection => "a protection",
        StopCause::Person => "a person",
        StopCause::NotDead => "something that must be dead was not",
        StopCause::IsolatedStepFailed => "a step in isolation failed, so nothing may be energised",
        StopCause::Bench => "the bench or the program failed",
    }
}

pub(super) fn troubles(record: &Record) -> Vec<TroubleRow> {
    each(record, |stamped| match &stamped.event {
        Event::Trouble(trouble) => Some(TroubleRow {
            at_s: seconds(stamped.at),
            seq: stamped.seq,
            instrument: trouble.instrument.clone(),
            text: trouble_text(trouble),
            mend: trouble.mend.clone(),
        }),
        _ => None,
    })
}

fn trouble_text(trouble: &Trouble) -> String {
    let who = if trouble.instrument.is_empty() {
        "the program"
    } else {
        &trouble.instrument
    };
    format!(
        "{who}: `{}`: {} was expected, {} came after {:.3} s",
        trouble.command, trouble.expected, trouble.got, trouble.elapsed_s
    )
}

/// Interlocks and protections, each over the whole run.
pub(super) fn watches(record: &Record) -> Vec<WatchRow> {
    let mut all: BTreeMap<(&str, &str), WatchRow> = BTreeMap::new();
    for stamped in record.events() {
        let (kind, name, held, checks, detail) = match &stamped.event {
            Event::Interlock {
                name,
                held,
                checks,
                detail,
            } => ("interlock", name, *held, *checks, detail),
            Event::Protection {
                point,
                held,
                checks,
                detail,
            } => ("protection", point, *held, *checks, detail),
            _ => continue,
        };
        let row = all.entry((kind, name)).or_insert_with(|| WatchRow {
            kind: kind.to_owned(),
            name: name.clone(),
            checks: 0,
            trips: Vec::new(),
            last: String::new(),
        });
        row.checks = row.checks.saturating_add(checks);
        row.last.clone_from(detail);
        if !held {
            row.trips.push(detail.clone());
        }
    }
    all.into_values().collect()
}

pub(super) fn made_safe(record: &Record) -> Vec<MadeSafePart> {
    each(record, |stamped| match &stamped.event {
        Event::MadeSafe {
            confirmed,
            emergency,
            lines,
            by_hand,
        } => Some(MadeSafePart {
            at_s: seconds(stamped.at),
            confirmed: *confirmed,
            emergency: *emergency,
            lines: lines
                .iter()
                .map(|line| (line.what.clone(), line.confirmed, line.seen.clone()))
                .collect(),
            by_hand: by_hand.clone(),
        }),
        _ => None,
    })
}

/// What must be said before everything else.
pub(super) fn said_first(record: &Record, made_safe: &[MadeSafePart], ended: bool) -> Vec<String> {
    let mut said = Vec::new();
    let last = made_safe.last();
    if let Some(part) = last.filter(|part| !part.confirmed) {
        said.push("NOT CONFIRMED DEAD.".to_owned());
        said.extend(part.by_hand.clone());
        let unconfirmed = part.lines.iter().filter(|(_, confirmed, _)| !confirmed);
        said.extend(unconfirmed.map(|(what, _, seen)| format!("not confirmed: {what} ({seen})")));
    }
    let energised = record
        .events()
        .iter()
        .any(|stamped| matches!(stamped.event, Event::Intent { .. }));
    if !ended && energised && last.is_none() {
        let text = "The record has no end and no make safe: nothing is known to be dead. Treat the bench as live until it has \
                    been switched off and measured by hand.";
        said.push(text.to_owned());
    }
    said
}
