//! The forms of act.

use super::common::{condition, may_side, may_tolerance, small, source};
use super::find::find;
use crate::files::picture::AlongText;
use crate::files::sequence::{ActForm, ActText, AnswerText, JudgeText, Latest, Otherwise, SetText};
use crate::shape::checked::{Checked, CheckedMap, Lower, Mismatch, texts_of};
use crate::shape::rules::instructs;
use crate::source::{Formula, Sp, Span};

/// A list of acts.
pub(super) fn acts(items: &[Checked], at: &Span) -> Lower<Vec<ActText>> {
    items.iter().map(|item| act(item.as_map(at)?)).collect()
}

fn act(map: &CheckedMap) -> Lower<ActText> {
    let (key, value) = map.only_key()?;
    let form = match value {
        Checked::Formula(length) => ActForm::Hold(length.clone(), None),
        other => form(key, other.as_map(&map.span)?)?,
    };
    Ok(ActText {
        span: map.span.clone(),
        form,
    })
}

fn form(key: &str, map: &CheckedMap) -> Lower<ActForm> {
    match key {
        "set" => set(map),
        "read" => names_and_points(map).map(ActForm::Read),
        "capture" => capture(map),
        "find" => find(map),
        "sweep" => sweep(map),
        "ramp" => ramp(map),
        "wait_for" => wait_for(map),
        "must_not" => must_not(map),
        "hold" => Ok(ActForm::Hold(map.formula("for")?, along(map)?)),
        "settle" => settle(map),
        "ask" => ask(map),
        "isolate" => Ok(ActForm::Isolate),
        "prove_dead" => Ok(ActForm::ProveDead {
            at: map.text("at")?,
            deadline: map.formula("deadline")?,
        }),
        "judge" => judge(map),
        _ => Err(Mismatch(map.span.clone(), format!("another act than `{key}`"))),
    }
}

fn set(map: &CheckedMap) -> Lower<ActForm> {
    let one = |(point, value): &(Sp<String>, Checked)| match value {
        Checked::Text(word) => Ok((point.clone(), SetText::Word(word.clone()))),
        other => Ok((point.clone(), SetText::Amount(other.as_formula(&point.span)?))),
    };
    map.rest.iter().map(one).collect::<Lower<_>>().map(ActForm::Set)
}

fn names_and_points(map: &CheckedMap) -> Lower<Vec<(Sp<String>, Sp<String>)>> {
    map.rest
        .iter()
        .map(|(name, value)| Ok((name.clone(), value.as_text(&name.span)?)))
        .collect()
}

fn capture(map: &CheckedMap) -> Lower<ActForm> {
    Ok(ActForm::Capture {
        of: map.texts("of"),
        length: map.formula("for")?,
        rate: map.may_formula("rate"),
        during: acts(map.list("while"), &map.span)?,
    })
}

/// `set: {point: {from, to}}`
fn from_to(map: &CheckedMap) -> Lower<(Sp<String>, Formula, Formula)> {
    let (point, ends) = map.map("set")?.only()?;
    let ends = ends.as_map(&point.span)?;
    Ok((point.clone(), ends.formula("from")?, ends.formula("to")?))
}

fn sweep(map: &CheckedMap) -> Lower<ActForm> {
    let (point, from, to) = from_to(map)?;
    Ok(ActForm::Sweep {
        point,
        from,
        to,
        points: small(map, "points", &map.span)?,
        logarithmic: map.may_string("spacing").as_deref() == Some("logarithmic"),
        and_back: map.truth("and_back"),
        name: map.text("as")?,
        dwell: map.formula("dwell")?,
        acts: acts(map.list("do"), &map.span)?,
    })
}

fn ramp(map: &CheckedMap) -> Lower<ActForm> {
    let (point, from, to) = from_to(map)?;
    Ok(ActForm::Ramp {
        point,
        from,
        to,
        over: map.formula("over")?,
        steps: small(map, "steps", &map.span)?,
    })
}

fn wait_for(map: &CheckedMap) -> Lower<ActForm> {
    let otherwise = map.may_map("otherwise");
    Ok(ActForm::WaitFor {
        condition: condition(map)?,
        every: map.formula("every")?,
        latest: match map.may_text("limit") {
            Some(limit) => Latest::Limit(limit),
            None => Latest::Deadline(map.formula("deadline")?, source(map)?),
        },
        name: map.may_text("as"),
        otherwise: Otherwise {
            inconclusive: otherwise.and_then(|m| m.may_string("verdict")).as_deref() == Some("inconclusive"),
            side: otherwise.map(may_side).transpose()?.flatten(),
            says: otherwise.and_then(|m| m.may_string("says")),
        },
    })
}

fn must_not(map: &CheckedMap) -> Lower<ActForm> {
    Ok(ActForm::MustNot {
        condition: condition(map)?,
        length: map.formula("for")?,
        every: map.formula("every")?,
        means: map.may_string("means"),
        source: source(map)?,
    })
}

fn settle(map: &CheckedMap) -> Lower<ActForm> {
    Ok(ActForm::Settle {
        point: map.text("point")?,
        band: map.formula("band")?,
        dwell: map.formula("for")?,
        deadline: map.formula("deadline")?,
        along: along(map)?,
    })
}

/// Readings on the way.
fn along(map: &CheckedMap) -> Lower<Option<AlongText>> {
    let Some(reads) = map.may_map("read") else {
        return Ok(None);
    };
    Ok(Some(AlongText {
        reads: names_and_points(reads)?,
        every: map.formula("every")?,
    }))
}

fn ask(map: &CheckedMap) -> Lower<ActForm> {
    Ok(ActForm::Ask {
        prompt: map.text("prompt")?,
        answer: answer(map)?,
        name: map.may_text("as"),
        hands: map.truth("hands"),
        does: map.may_text("does"),
        uncertainty: map.may_formula("uncertainty"),
        source: if map.has("status") { Some(source(map)?) } else { None },
    })
}

fn answer(map: &CheckedMap) -> Lower<AnswerText> {
    let Some(form) = map.may_map("answer") else {
        return Ok(if instructs(map) {
            AnswerText::Done
        } else {
            AnswerText::YesNo
        });
    };
    if let Some(words) = form.may_map("word") {
        return Ok(AnswerText::Word {
            choices: words.strings("choices"),
            passes: words.strings("passes"),
        });
    }
    Ok(AnswerText::Quantity {
        unit: form.text("quantity")?,
    })
}

fn judge(map: &CheckedMap) -> Lower<ActForm> {
    let one = |(name, value): &(Sp<String>, Checked)| Ok((name.clone(), judged(value, &name.span)?));
    map.rest.iter().map(one).collect::<Lower<_>>().map(ActForm::Judge)
}

fn judged(value: &Checked, at: &Span) -> Lower<JudgeText> {
    if let Checked::List(items) = value {
        return Ok(JudgeText {
            value: None,
            unit: None,
            limits: texts_of(items),
            inline: None,
            when: None,
        });
    }
    let map = value.as_map(at)?;
    let inline = match may_tolerance(map)? {
        Some(tolerance) => Some((tolerance, source(map)?, map.may_string("title"))),
        None => None,
    };
    Ok(JudgeText {
        value: map.may_formula("value"),
        unit: map.may_text("unit"),
        limits: map.texts("limits"),
        inline,
        when: map.may_formula("when"),
    })
}
