//! The readings that a picture shows: each with every judgement of it, in one unit, with the values of its pass.

use super::picture::Spot;
use super::rows::reading_of;
use super::types::{Numbers, ReadingRow, Row, StepPart};
use crate::pictured::Shown;
use crate::record::Record;
use crate::words::Verdict;
use pilotage_core::{Quantity, Unit};
use std::collections::BTreeMap;

/// One reading of a step with every judgement of it.
pub(super) struct Taken<'r> {
    /// When it was complete, in seconds since the start of the run.
    pub(super) at_s: f64,
    /// Which pass.
    pub(super) pass: Option<&'r str>,
    /// Unit of the numbers.
    pub(super) unit: &'r str,
    /// What was read.
    pub(super) spot: Spot,
    variables: &'r BTreeMap<String, Quantity>,
    margin: Option<f64>,
}

/// One line of a step: a judgement, or a reading that nobody judged.
struct Found<'r> {
    seq: u64,
    at_s: f64,
    pass: Option<&'r str>,
    unit: &'r str,
    text: &'r str,
    verdict: Option<Verdict>,
    numbers: Numbers,
}

impl<'r> Found<'r> {
    fn judged(row: &'r Row) -> Self {
        Self {
            seq: row.reading,
            at_s: row.at_s,
            pass: row.pass.as_deref(),
            unit: &row.unit,
            text: &row.value,
            verdict: Some(row.verdict),
            numbers: row.numbers.clone(),
        }
    }

    fn read(row: &'r ReadingRow) -> Self {
        Self {
            seq: row.seq,
            at_s: row.at_s,
            pass: row.pass.as_deref(),
            unit: &row.unit,
            text: &row.value,
            verdict: None,
            numbers: Numbers {
                value: row.number,
                expanded: row.expanded_number,
                ..Numbers::default()
            },
        }
    }
}

/// All readings of a name, in the order of the run, in the unit of the first.
pub(super) fn taken<'r>(record: &'r Record, part: &'r StepPart, name: &str) -> Vec<Taken<'r>> {
    static NONE: BTreeMap<String, Quantity> = BTreeMap::new();
    let judged = part.rows.iter().filter(|row| row.name == name).map(Found::judged);
    let read = part.readings.iter().filter(|row| row.name == name).map(Found::read);
    let mut unit = None;
    let mut all: BTreeMap<u64, Taken> = BTreeMap::new();
    for found in judged.chain(read) {
        let unit = *unit.get_or_insert(found.unit);
        let numbers = in_unit(&found.numbers, found.unit, unit);
        let new = || Taken {
            at_s: found.at_s,
            pass: found.pass,
            unit,
            variables: reading_of(record, found.seq).map_or(&NONE, |reading| &reading.variables),
            margin: numbers.margin,
            spot: Spot {
                seq: found.seq,
                value: numbers.value,
                expanded: numbers.expanded,
                text: found.text.to_owned(),
                low: numbers.low,
                high: numbers.high,
                verdict: found.verdict,
            },
        };
        all.entry(found.seq)
            .and_modify(|known| known.judged(found.verdict, &numbers))
            .or_insert_with(new);
    }
    all.into_values().collect()
}

impl Taken<'_> {
    /// One more judgement of the same reading: the worst verdict and the narrowest bounds count.
    fn judged(&mut self, verdict: Option<Verdict>, numbers: &Numbers) {
        let (spot, narrower) = (
            &mut self.spot,
            |a: Option<f64>, b: Option<f64>, take: fn(f64, f64) -> f64| match (a, b) {
                (Some(a), Some(b)) => Some(take(a, b)),
                (one, other) => one.or(other),
            },
        );
        spot.low = narrower(spot.low, numbers.low, f64::max);
        spot.high = narrower(spot.high, numbers.high, f64::min);
        spot.verdict = [spot.verdict, verdict]
            .into_iter()
            .flatten()
            .max_by_key(|verdict| verdict.badness());
        self.margin = narrower(self.margin, numbers.margin, f64::min);
    }

    /// What decides first among several readings at one place: the worse verdict, then the smaller margin.
    pub(super) fn decides_before(&self, other: &Self) -> bool {
        let (own, others) = (
            self.spot.verdict.map(Verdict::badness),
            other.spot.verdict.map(Verdict::badness),
        );
        let margin = |taken: &Self| taken.margin.unwrap_or(f64::INFINITY);
        own > others || (own == others && margin(self) < margin(other))
    }
}

/// Numbers of one unit in another: a limit may be written in mV and the next one in V.
pub(super) fn in_unit(numbers: &Numbers, from: &str, to: &str) -> Numbers {
    let (Some(old), Some(new)) = (Unit::find(from), Unit::find(to)) else {
        return numbers.clone();
    };
    if old.symbol == new.symbol {
        return numbers.clone();
    }
    let place = |number: f64| new.from_si(old.to_si(number));
    let length = |number: f64| place(number) - place(0.0);
    Numbers {
        value: numbers.value.map(place),
        expanded: numbers.expanded.map(length),
        low: numbers.low.map(place),
        high: numbers.high.map(place),
        margin: numbers.margin.map(length),
        risk: numbers.risk,
    }
}

/// The value of a name where a reading was taken, in the unit of its axis.
pub(super) fn place(taken: &Taken<'_>, shown: &Shown) -> Option<f64> {
    let value = taken.variables.get(&shown.name)?;
    Some(number_in(value.si(), &shown.unit))
}

/// In a unit; in coherent units where it has none.
pub(super) fn number_in(si: f64, unit: &str) -> f64 {
    Unit::find(unit).map_or(si, |unit| unit.from_si(si))
}

/// The values of all names but these, in the words of the pass.
fn held(taken: &Taken<'_>, but: &[&str]) -> String {
    let others = taken.variables.keys().filter(|name| !but.contains(&name.as_str()));
    let said = |name: &String| {
        let begins = format!("{name} = ");
        let parts = taken.pass.unwrap_or_default().split(", ");
        parts
            .into_iter()
            .find(|part| part.starts_with(&begins))
            .map(str::to_owned)
    };
    others.filter_map(said).collect::<Vec<_>>().join(", ")
}

/// Readings that have the same values of all names but these, in the order of the first.
pub(super) fn by_held<'r>(all: Vec<Taken<'r>>, but: &[&str]) -> Vec<(String, Vec<Taken<'r>>)> {
    let mut groups: Vec<(String, Vec<Taken>)> = Vec::new();
    for taken in all {
        let held = held(&taken, but);
        match groups.iter_mut().find(|(known, _)| *known == held) {
            Some((_, group)) => group.push(taken),
            None => groups.push((held, vec![taken])),
        }
    }
    groups
}

/// The unit in which all of them are.
pub(super) fn unit_of(all: &[Taken<'_>], shown: &Shown) -> String {
    match all.first().map_or(shown.unit.as_str(), |first| first.unit) {
        "1" => String::new(),
        unit => unit.to_owned(),
    }
}
