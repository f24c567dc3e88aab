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
            take: pulse_take(&map.text("take")?)?,
        });
    }
    if map.has("level") {
        return Ok(FindText::Level {
            channel: map.text("level")?,
            take: level_take(&map.text("take")?)?,
        });
    }
    if map.has("angle") {
        return Ok(FindText::Angle {
            wave: map.text("angle")?,
            at: event(map.map("at")?)?,
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

fn pulse_take(word: &Sp<String>) -> Lower<PulseTake> {
    Ok(match word.value.as_str() {
        "high" => PulseTake::High,
        "low" => PulseTake::Low,
        "frequency" => PulseTake::Frequency,
        "duty_at_zero" => PulseTake::DutyAtZero,
        "duty_at_half" => PulseTake::DutyAtHalf,
        "rise" => PulseTake::Rise,
        "fall" => PulseTake::Fall,
        "duty_spread" => PulseTake::DutySpread,
        other => return Err(Mismatch(word.span.clone(), format!("another parameter than `{other}`"))),
    })
}

fn level_take(word: &Sp<String>) -> Lower<LevelTake> {
    Ok(match word.value.as_str() {
        "mean" => LevelTake::Mean,
        "rms" => LevelTake::Rms,
        "span" => LevelTake::Span,
        "highest" => LevelTake::Highest,
        "lowest" => LevelTake::Lowest,
        other => return Err(Mismatch(word.span.clone(), format!("another level than `{other}`"))),
    })
}
