//! The sequence, its head and its steps; the chapter.

use super::acts::acts;
use super::common::{item_kind, may_side, share, signal, small, tolerance};
use super::picture::pictures;
use crate::files::chapter::{ChapterFile, Entry, WrittenSequence};
use crate::files::sequence::{ForEach, InterlockText, ProtectText, Repeat, SequenceFile, StepText};
use crate::shape::checked::{Checked, CheckedMap, Lower, formulas_of};
use crate::source::{Formula, Sp, Span};
use pilotage_evidence::heading::{Basis, CautionText, NotTested};

/// `pilotage: sequence/1`
pub(super) fn sequence(map: &CheckedMap) -> Lower<WrittenSequence> {
    Ok(SequenceFile {
        title: map.text("title")?,
        item: item_kind(map)?,
        basis: each(map, "basis", basis)?,
        limits: map.text("limits")?,
        more_limits: map.texts("more_limits"),
        default_item: map.may_text("default_item"),
        default_bench: map.may_text("default_bench"),
        accepts: entries(map, "accepts", |name, record| Ok((name.clone(), tolerance(record)?)))?,
        cautions: each(map, "cautions", caution)?,
        interlocks: entries(map, "interlocks", interlock)?,
        protect: entries(map, "protect", protect)?,
        steps: each(map, "steps", entry)?,
        not_tested: each(map, "not_tested", not_tested)?,
    })
}

/// `pilotage: chapter/1`
pub(super) fn chapter(map: &CheckedMap) -> Lower<ChapterFile> {
    Ok(ChapterFile {
        title: map.text("title")?,
        item: item_kind(map)?,
        steps: each(map, "steps", step)?,
    })
}

/// Lowers each map of a list.
pub(super) fn each<T>(map: &CheckedMap, name: &str, lower: fn(&CheckedMap) -> Lower<T>) -> Lower<Vec<T>> {
    map.list(name)
        .iter()
        .map(|item| lower(item.as_map(&map.span)?))
        .collect()
}

/// Lowers each free name of a map that may be missing.
pub(super) fn entries<T>(
    map: &CheckedMap,
    name: &str,
    lower: fn(&Sp<String>, &CheckedMap) -> Lower<T>,
) -> Lower<Vec<T>> {
    let rest = map.may_map(name).map_or(&[][..], |m| &m.rest);
    rest.iter()
        .map(|(key, value)| lower(key, value.as_map(&key.span)?))
        .collect()
}

fn basis(map: &CheckedMap) -> Lower<Basis> {
    Ok(Basis {
        standard: map.string("standard")?,
        edition: map.string("edition")?,
        part: map.may_string("part"),
    })
}

fn caution(map: &CheckedMap) -> Lower<Sp<CautionText>> {
    let value = CautionText {
        signal: signal(map)?,
        text: map.string("text")?,
    };
    Ok(Sp {
        value,
        span: map.span.clone(),
    })
}

fn interlock(point: &Sp<String>, map: &CheckedMap) -> Lower<InterlockText> {
    if map.has("proven_within") {
        let proven_within = map.formula("proven_within")?;
        return Ok(InterlockText::StopProof {
            proven_within,
            span: point.span.clone(),
        });
    }
    Ok(InterlockText::Word {
        point: point.clone(),
        must_be: map.text("must_be")?,
        every: map.formula("every")?,
    })
}

fn protect(point: &Sp<String>, map: &CheckedMap) -> Lower<ProtectText> {
    Ok(ProtectText {
        point: point.clone(),
        tolerance: tolerance(map)?,
        every: map.formula("every")?,
    })
}

fn not_tested(map: &CheckedMap) -> Lower<NotTested> {
    Ok(NotTested {
        what: map.string("what")?,
        title: map.string("title")?,
        why: map.string("why")?,
        left_out: false,
    })
}

fn entry(map: &CheckedMap) -> Lower<Entry> {
    if map.has("chapter") {
        return Ok(Entry::Chapter(map.text("chapter")?));
    }
    Ok(Entry::Step(Box::new(step(map)?)))
}

fn step(map: &CheckedMap) -> Lower<StepText> {
    let if_fail = map.may_map("if_fail");
    Ok(StepText {
        title: map.text("step")?,
        id: map.text("id")?,
        closes: map.may_text("closes"),
        only_if: map.may_formula("only_if"),
        needs: entries(map, "needs", need)?,
        for_each: map.may_map("for_each").map_or(Ok(Vec::new()), for_each)?,
        repeat: map.may_map("repeat").map(repeat).transpose()?,
        acts: acts(map.list("do"), &map.span)?,
        pictures: pictures(map)?,
        fail_means: if_fail.and_then(|m| m.may_string("means")),
        look_next: if_fail.map(|m| m.strings("look_next")).unwrap_or_default(),
        fail_side: if_fail.map(may_side).transpose()?.flatten(),
    })
}

fn need(name: &Sp<String>, map: &CheckedMap) -> Lower<(Sp<String>, Formula)> {
    Ok((name.clone(), map.map("uncertainty")?.formula("at_most")?))
}

fn repeat(map: &CheckedMap) -> Lower<Repeat> {
    Ok(Repeat {
        times: small(map, "times", &map.span)?,
    })
}

fn for_each(map: &CheckedMap) -> Lower<Vec<ForEach>> {
    let one = |(name, values): &(Sp<String>, Checked)| {
        Ok(ForEach {
            name: name.clone(),
            values: values_of(values, &name.span)?,
        })
    };
    map.rest.iter().map(one).collect()
}

fn values_of(values: &Checked, at: &Span) -> Lower<Vec<Formula>> {
    if let Checked::List(items) = values {
        return Ok(formulas_of(items));
    }
    let map = values.as_map(at)?;
    let of = map.formula("of")?;
    formulas_of(map.list("at")).iter().map(|at| share(at, &of)).collect()
}
