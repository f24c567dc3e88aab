//! What a report draws of a step.

use crate::files::picture::{PictureForm, PictureText};
use crate::shape::checked::{Checked, CheckedMap, Lower, Mismatch};
use crate::source::Sp;

/// `pictures: […]`
pub(super) fn pictures(map: &CheckedMap) -> Lower<Vec<PictureText>> {
    map.list("pictures")
        .iter()
        .map(|item| picture(item.as_map(&map.span)?))
        .collect()
}

fn picture(map: &CheckedMap) -> Lower<PictureText> {
    let says = map.may_map("says").map_or(&[][..], |says| &says.rest);
    let said = |(name, words): &(Sp<String>, Checked)| Ok((name.clone(), words.as_text(&name.span)?.value));
    Ok(PictureText {
        span: map.span.clone(),
        title: map.may_string("title"),
        says: says.iter().map(said).collect::<Lower<_>>()?,
        form: form(map)?,
    })
}

fn form(map: &CheckedMap) -> Lower<PictureForm> {
    if map.has("map") {
        return Ok(PictureForm::Map {
            of: map.text("map")?,
            across: map.text("across")?,
            up: map.text("up")?,
        });
    }
    if map.has("ladder") {
        return Ok(PictureForm::Ladder {
            of: one_or_more(map, "ladder")?,
            across: map.text("across")?,
            rule: map.may_formula("rule"),
        });
    }
    if map.has("bars") {
        return Ok(PictureForm::Bars {
            of: one_or_more(map, "bars")?,
            across: map.may_text("across"),
            along: map.may_string("along"),
            logarithmic: map.may_string("scale").as_deref() == Some("logarithmic"),
        });
    }
    if map.has("course") {
        return Ok(PictureForm::Course {
            of: one_or_more(map, "course")?,
        });
    }
    Ok(PictureForm::Wave {
        of: one_or_more(map, "wave")?,
        marks: map.texts("marks"),
    })
}

/// A text, or a list of texts.
fn one_or_more(map: &CheckedMap, name: &str) -> Lower<Vec<Sp<String>>> {
    match map.get(name) {
        Some(Checked::Text(text)) => Ok(vec![text.clone()]),
        Some(Checked::List(_)) => Ok(map.texts(name)),
        _ => Err(Mismatch(map.span.clone(), format!("`{name}`"))),
    }
}
