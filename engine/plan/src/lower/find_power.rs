//! What `find` looks for in captured voltage and current.

use super::find::{channel_and_part, event, word};
use crate::files::power::{
    DistortionTake, InrushTake, PairOf, PowerFind, PowerTake, PowerText, ResponseTake, RippleTake,
};
use crate::shape::checked::{CheckedMap, Lower};
use crate::source::Sp;
use pilotage_core::power::Grouping;

/// Lowers one form.
type Form = fn(&CheckedMap) -> Lower<PowerText>;

/// The analysis, where the map is one of these.
pub(super) fn may_power(map: &CheckedMap) -> Lower<Option<PowerText>> {
    let forms: [(&str, Form); 7] = [
        ("power", power),
        ("efficiency", efficiency),
        ("harmonic", harmonic),
        ("distortion", distortion),
        ("ripple", ripple),
        ("inrush", inrush),
        ("response", response),
    ];
    let form = forms.iter().find(|(key, _)| map.has(key));
    form.map(|(_, lower)| lower(map)).transpose()
}

fn power(map: &CheckedMap) -> Lower<PowerText> {
    Ok(PowerFind::Power {
        of: pair(map.map("power")?)?,
        take: word(map, "take", PowerTake::find)?,
    })
}

fn efficiency(map: &CheckedMap) -> Lower<PowerText> {
    let sides = map.map("efficiency")?;
    Ok(PowerFind::Efficiency {
        output: pair(sides.map("output")?)?,
        input: pair(sides.map("input")?)?,
    })
}

fn harmonic(map: &CheckedMap) -> Lower<PowerText> {
    Ok(PowerFind::Harmonic {
        of: map.text("harmonic")?,
        line: map.text("line")?,
        order: map.formula("order")?,
        grouping: word(map, "grouping", Grouping::find)?,
    })
}

fn distortion(map: &CheckedMap) -> Lower<PowerText> {
    Ok(PowerFind::Distortion {
        of: map.text("distortion")?,
        line: map.text("line")?,
        take: word(map, "take", DistortionTake::find)?,
        grouping: word(map, "grouping", Grouping::find)?,
    })
}

fn ripple(map: &CheckedMap) -> Lower<PowerText> {
    let of = map.text("ripple")?;
    let take = word(map, "take", RippleTake::find)?;
    Ok(match map.may_text("line") {
        Some(line) => PowerFind::RippleOfLine { of, line, take },
        None => PowerFind::Ripple {
            of,
            bandwidth: map.formula("bandwidth")?,
            take,
        },
    })
}

fn inrush(map: &CheckedMap) -> Lower<PowerText> {
    Ok(PowerFind::Inrush {
        of: map.text("inrush")?,
        take: word(map, "take", InrushTake::find)?,
        above: map.may_formula("above"),
    })
}

fn response(map: &CheckedMap) -> Lower<PowerText> {
    let (of, part) = channel_and_part(&map.text("response")?);
    Ok(PowerFind::Response {
        of,
        part,
        change: event(map.map("change")?)?,
        take: word(map, "take", ResponseTake::find)?,
        band: map.formula("band")?,
    })
}

fn pair(map: &CheckedMap) -> Lower<PairOf<Sp<String>>> {
    Ok(PairOf {
        voltage: map.text("voltage")?,
        current: map.text("current")?,
    })
}
