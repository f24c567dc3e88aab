//! What `find` looks for.

use super::common::share;
use super::find_power;
use crate::files::sequence::{ActForm, EventText, FindText, LevelTake, PulseTake, SignalPart};
use crate::shape::checked::{Checked, CheckedMap, Lower, Mismatch};
use crate::source::{Formula, Sp};

/// `find: {name: …}`
pub(super) fn find(map: &CheckedMap) -> Lower<ActForm> {
    let one = |(name, value): &(Sp<String>, Checked)| Ok((name.clone(), find_text(value.as_map(&name.span)?)?));
    map.rest.iter().map(one).collect::<Lower<_>>().map(ActForm::Find)
}

fn find_text(map: &CheckedMap) -> Lower<FindText> {
    if map.has("from") {
        return Ok(FindText::Between {
            from: event(map.map("from")?)?,
            to: event(map.map("to")?)?,
        });
    }
    if map.has("pulse") {
        return Ok(FindText::Pulse {
            channel: map.text("pulse")?,
            take: word(map, "take", PulseTake::find)?,
        });
    }
    if map.has("level") {
        return Ok(FindText::Level {
            channel: map.text("level")?,
            take: word(map, "take", LevelTake::find)?,
        });
    }
    if map.has("angle") {
        return Ok(FindText::Angle {
            wave: map.text("angle")?,
            at: event(map.map("at")?)?,
            near: map.may_formula("near"),
        });
    }
    if map.has("count") {
        return Ok(FindText::Count {
            event: event(map.map("count")?)?,
        });
    }
    if let Some(found) = find_power::may_power(map)? {
        return Ok(FindText::Power(found));
    }
    let (crossing, passage) = map.map("when")?.only()?;
    let (rises, level) = passes(passage.as_map(&crossing.span)?)?;
    Ok(FindText::Swept {
        of: map.text("swept")?,
        crossing: crossing.clone(),
        rises,
        level,
        back: map.may_string("way").as_deref() == Some("back"),
    })
}

pub(super) fn event(map: &CheckedMap) -> Lower<EventText> {
    let (point, passage) = map.only()?;
    let passage = passage.as_map(&point.span)?;
    let (rises, level) = passes(passage)?;
    let (channel, part) = channel_and_part(point);
    Ok(EventText {
        channel,
        part,
        rises,
        level,
        last: passage.may_string("which").as_deref() == Some("last"),
    })
}

/// A last part of the point names a signal of the channel.
pub(super) fn channel_and_part(point: &Sp<String>) -> (Sp<String>, SignalPart) {
    let parts = [
        (".high", SignalPart::High),
        (".low", SignalPart::Low),
        (".envelope", SignalPart::Envelope),
        (".contact", SignalPart::Contact),
        (".duty", SignalPart::Duty),
    ];
    for (ending, part) in parts {
        if let Some(channel) = point.value.strip_suffix(ending) {
            return (
                Sp {
                    value: channel.to_owned(),
                    span: point.span.clone(),
                },
                part,
            );
        }
    }
    (point.clone(), SignalPart::Samples)
}

fn passes(map: &CheckedMap) -> Lower<(bool, Formula)> {
    let rises = map.has("rises_through");
    let name = if rises { "rises_through" } else { "falls_through" };
    let level = if let Some(Checked::Formula(level)) = map.get(name) {
        level.clone()
    } else {
        let part = map.map(name)?;
        share(&part.formula("by")?, &part.formula("of")?)?
    };
    Ok((rises, level))
}

/// The value that a word stands for.
pub(super) fn word<T>(map: &CheckedMap, key: &str, find: impl Fn(&str) -> Option<T>) -> Lower<T> {
    let text = map.text(key)?;
    find(&text.value).ok_or_else(|| Mismatch(text.span.clone(), format!("another word than `{}`", text.value)))
}
