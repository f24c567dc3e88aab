//! Frames.

use crate::files::frames::{FramePlaces, FramesFile};
use crate::shape::checked::{Checked, CheckedMap, Lower, Mismatch};
use crate::shape::frame_rules::{field, identifier};
use crate::source::{Formula, Sp};
use pilotage_core::Unit;
use pilotage_core::expr::Value;
use pilotage_core::frames::{Check, Checksum, Counter, Field, Layout, Map, Signal};
use std::time::Duration;

/// Where `window` is not said.
const WINDOW: Duration = Duration::from_secs(5);

/// `pilotage: frames/1`
pub(super) fn frames(map: &CheckedMap) -> Lower<FramesFile> {
    let all = map.map("frames")?;
    let frames: Vec<(Layout, FramePlaces)> = all
        .rest
        .iter()
        .map(|(name, value)| frame(name, value.as_map(&name.span)?))
        .collect::<Lower<_>>()?;
    let (frames, places) = frames.into_iter().unzip();
    Ok(FramesFile {
        name: map.text("name")?,
        title: map.text("title")?,
        time_stamps: map.may_formula("time_stamps"),
        map: Map {
            bit_rate: small(map, "bit_rate")?,
            window: map
                .may_formula("window")
                .map_or(Ok(WINDOW), |window| seconds(&window))?,
            frames,
        },
        places,
    })
}

fn frame(name: &Sp<String>, map: &CheckedMap) -> Lower<(Layout, FramePlaces)> {
    let signals = map.map("signals")?;
    let mut layout = Layout {
        name: name.value.clone(),
        id: identifier(map).ok_or_else(|| Mismatch(map.span.clone(), "an identifier".to_owned()))?,
        to_item: map.string("direction")? == "to_item",
        period: seconds(&map.formula("period")?)?,
        length: small(map, "length")?,
        signals: signals
            .rest
            .iter()
            .map(|(name, value)| signal(name, value.as_map(&name.span)?))
            .collect::<Lower<_>>()?,
        counter: map.may_map("counter").map(counter).transpose()?,
        checksum: map.may_map("checksum").map(checksum).transpose()?,
        abandoned: None,
    };
    if let Some(said) = map.may_map("abandoned") {
        layout.abandoned = Some(abandoned(&layout, said)?);
    }
    let places = FramePlaces {
        frame: name.span.clone(),
        signals: signals.rest.iter().map(|(name, _)| name.span.clone()).collect(),
    };
    Ok((layout, places))
}

/// Places of signals with the raw numbers of their words.
fn abandoned(layout: &Layout, said: &CheckedMap) -> Lower<Vec<(usize, i64)>> {
    let one = |(name, word): &(Sp<String>, Checked)| {
        let word = word.as_text(&name.span)?;
        let found = layout.signal(&name.value);
        let raw = found.and_then(|(place, signal)| Some((place, signal.raw_of_word(&word.value)?)));
        raw.ok_or_else(|| Mismatch(word.span.clone(), "a word of the signal".to_owned()))
    };
    said.rest.iter().map(one).collect()
}

fn signal(name: &Sp<String>, map: &CheckedMap) -> Lower<Signal> {
    let factor = match map.get("factor") {
        Some(Checked::Factor(factor)) => *factor,
        _ => 1.0,
    };
    let unit = map.may_text("unit").map(|unit| {
        Unit::find(&unit.value).ok_or_else(|| Mismatch(unit.span.clone(), "a unit of the table".to_owned()))
    });
    Ok(Signal {
        name: name.value.clone(),
        field: bits(map)?,
        factor,
        offset: map.may_formula("offset").map_or(Ok(0.0), |offset| number(&offset))?,
        unit: unit.transpose()?.unwrap_or(Unit::ONE),
        words: map.may_map("words").map_or(Ok(Vec::new()), words)?,
    })
}

fn words(map: &CheckedMap) -> Lower<Vec<(i64, String)>> {
    let one = |(number, word): &(Sp<String>, Checked)| {
        let raw = number
            .value
            .parse()
            .map_err(|_| Mismatch(number.span.clone(), "a whole number".to_owned()))?;
        Ok((raw, word.as_text(&number.span)?.value))
    };
    map.rest.iter().map(one).collect()
}

fn counter(map: &CheckedMap) -> Lower<Counter> {
    let field = bits(map)?;
    let (_, high) = field.range();
    let modulus = match map.get("modulus") {
        Some(_) => small(map, "modulus")?,
        None => u32::try_from(high + 1).unwrap_or(1 << 16),
    };
    Ok(Counter { field, modulus })
}

fn checksum(map: &CheckedMap) -> Lower<Check> {
    let word = map.text("kind")?;
    let kind = Checksum::ALL.into_iter().find(|kind| kind.word() == word.value);
    let data_id = map.get("data_id").map(|_| small(map, "data_id")).transpose()?;
    Ok(Check {
        kind: kind.ok_or_else(|| Mismatch(word.span.clone(), "a checksum".to_owned()))?,
        byte: small(map, "byte")?,
        data_id,
    })
}

fn bits(map: &CheckedMap) -> Lower<Field> {
    field(map).ok_or_else(|| Mismatch(map.span.clone(), "start and length".to_owned()))
}

fn small<T: TryFrom<u64>>(map: &CheckedMap, name: &str) -> Lower<T> {
    T::try_from(map.count(name)?).map_err(|_| Mismatch(map.span.clone(), format!("a small `{name}`")))
}

fn seconds(formula: &Formula) -> Lower<Duration> {
    let seconds = number(formula)?;
    Duration::try_from_secs_f64(seconds).map_err(|_| Mismatch(formula.span.clone(), "a length of time".to_owned()))
}

fn number(formula: &Formula) -> Lower<f64> {
    match formula.expr.evaluate(&|_| None) {
        Ok(Value::Measured(measured)) => Ok(measured.value.si()),
        _ => Err(Mismatch(formula.span.clone(), "a number".to_owned())),
    }
}
