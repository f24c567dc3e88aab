//! Judgements and readings as rows, with what the instruments answered for each.

use super::text::{self, seconds};
use super::types::{Numbers, RawReply, ReadingRow, Row};
use crate::event::{Event, Exchange, Judgement, Reading};
use crate::record::Record;
use pilotage_core::{Datum, NoValue, Tolerance, Unit};
use std::collections::BTreeSet;

/// At most so many exchanges are printed for one value; all stand in the journal.
const MOST_RAW: usize = 40;

/// A judgement with the reading that it rests on.
pub(super) fn row(record: &Record, seq: u64, judgement: &Judgement) -> Row {
    let reading = reading_of(record, judgement.reading);
    let datum = reading.map_or_else(
        || Err(NoValue::Missing("the reading is not in the journal".to_owned())),
        datum,
    );
    let limit = &judgement.limit;
    let unit = datum
        .as_ref()
        .ok()
        .and_then(|measured| text::unit_for(&limit.unit, measured.value));
    let (value, expanded) = text::value_and_expanded(&datum, &limit.unit);
    let margin = match (judgement.margin, &datum) {
        (Some(margin), Ok(measured)) => text::margin(margin, measured.value, &limit.unit),
        _ => String::new(),
    };
    Row {
        seq,
        reading: judgement.reading,
        at_s: reading.map_or(0.0, |reading| seconds(reading.taken.1)),
        name: judgement.name.clone(),
        title: limit.title.clone(),
        pass: judgement.pass.clone(),
        verdict: judgement.verdict,
        value,
        expanded,
        limit: text::tolerance(&limit.tolerance, &limit.unit),
        margin,
        risk: judgement.risk.map(text::risk).unwrap_or_default(),
        numbers: numbers(judgement, &datum, unit),
        unit: unit.map_or_else(|| limit.unit.clone(), |unit| unit.symbol.to_owned()),
        marks: judgement.marks.clone(),
        key: limit.key.clone(),
        source: text::source(limit),
        status: limit.status,
        place: limit.place.clone(),
        formula: reading.and_then(|reading| reading.formula.clone()),
        raw: raw(record, judgement.reading),
    }
}

fn numbers(judgement: &Judgement, datum: &Datum, unit: Option<Unit>) -> Numbers {
    let bounds = match &judgement.limit.tolerance {
        Tolerance::AtLeast(low) => (Some(low), None),
        Tolerance::AtMost(high) => (None, Some(high)),
        Tolerance::Between(low, high) => (Some(low), Some(high)),
        Tolerance::AnyOf(_) => (None, None),
    };
    let in_unit = |si: f64| unit.map(|unit| unit.from_si(si));
    let difference = |si: f64| unit.map(|unit| text::difference_in(si, unit));
    Numbers {
        value: datum.as_ref().ok().and_then(|measured| in_unit(measured.value.si())),
        expanded: judgement.expanded.and_then(difference),
        low: bounds.0.and_then(|low| in_unit(low.si())),
        high: bounds.1.and_then(|high| in_unit(high.si())),
        margin: judgement.margin.and_then(difference),
        risk: judgement.risk,
    }
}

/// A reading that nobody judged.
pub(super) fn reading_row(record: &Record, seq: u64, reading: &Reading) -> ReadingRow {
    let datum = datum(reading);
    let (value, expanded) = match &reading.word {
        Some(word) => (word.clone(), String::new()),
        None => text::value_and_expanded(&datum, &reading.unit),
    };
    let measured = datum.as_ref().ok();
    let unit = measured.and_then(|measured| text::unit_for(&reading.unit, measured.value));
    let in_unit = measured.zip(unit);
    ReadingRow {
        seq,
        at_s: seconds(reading.taken.1),
        name: reading.name.clone(),
        point: reading.point.clone(),
        pass: reading.pass.clone(),
        value,
        expanded,
        number: in_unit.map(|(measured, unit)| unit.from_si(measured.value.si())),
        expanded_number: in_unit
            .and_then(|(measured, unit)| Some(text::difference_in(text::expanded(measured)?, unit))),
        unit: unit.map_or_else(|| reading.unit.clone(), |unit| unit.symbol.to_owned()),
        formula: reading.formula.clone(),
        raw: raw(record, seq),
    }
}

/// Value of a reading in words: `0.2 V`, or why there is none.
pub(super) fn in_words(record: &Record, seq: u64) -> String {
    match reading_of(record, seq) {
        Some(reading) => text::value_and_expanded(&datum(reading), &reading.unit).0,
        None => "not in the journal".to_owned(),
    }
}

pub(super) fn reading_of(record: &Record, seq: u64) -> Option<&Reading> {
    match record.event(seq) {
        Some(Event::Reading(reading)) => Some(reading),
        _ => None,
    }
}

fn datum(reading: &Reading) -> Datum {
    match (&reading.value, &reading.no_value) {
        (_, Some(reason)) => Err(reason.clone()),
        (Some(measured), None) => Ok(measured.clone()),
        (None, None) => Err(NoValue::Missing("the point answers in words".to_owned())),
    }
}

/// The exchanges behind a reading: its own, and those of every reading and capture that went in.
fn raw(record: &Record, seq: u64) -> Vec<RawReply> {
    let mut wanted = vec![seq];
    let mut seen = BTreeSet::new();
    while let Some(next) = wanted.pop() {
        if seen.insert(next)
            && let Some(reading) = reading_of(record, next)
        {
            // What went in is older; a forged journal must not lead around in a circle.
            wanted.extend(reading.from.values().copied().filter(|from| *from < next));
        }
    }
    let exchanges = seen.into_iter().flat_map(|seq| exchanges(record, seq));
    exchanges.take(MOST_RAW).map(raw_reply).collect()
}

fn exchanges(record: &Record, seq: u64) -> &[Exchange] {
    match record.event(seq) {
        Some(Event::Reading(reading)) => &reading.exchanges,
        Some(Event::Captured(capture)) => &capture.exchanges,
        _ => &[],
    }
}

fn raw_reply(exchange: &Exchange) -> RawReply {
    RawReply {
        instrument: exchange.instrument.clone(),
        sent: exchange.sent.clone(),
        received: exchange.received.clone(),
        at_s: seconds(exchange.ended),
    }
}
