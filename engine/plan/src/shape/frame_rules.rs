//! What the bits of a frame must keep: identifiers that exist and stand once, bits that lie in the frame and are used once, numbers
//! that their bits can hold.

use super::checked::{Checked, CheckedMap};
use super::scalar::value_of;
use super::table::identifier_of;
use crate::problem::{Problem, code};
use crate::source::{Sp, Span};
use pilotage_core::frames::{ByteOrder, Field, Id};
use std::collections::BTreeMap;

/// What a function of a frame that is sent is called besides its signals.
pub(crate) const OF_SENT: [&str; 1] = ["frames"];
/// What is worked out of frames that come, besides their signals.
pub(crate) const OF_WATCHED: [&str; 8] = [
    "period",
    "period_ratio",
    "period_min",
    "period_max",
    "jitter",
    "lost",
    "faulty",
    "silence",
];

/// Shortest and longest of each time, s.
const TIMES: [(&str, f64, f64, &str); 3] = [
    ("period", 1e-3, 60.0, "1 ms to 60 s"),
    ("window", 0.1, 600.0, "100 ms to 10 min"),
    ("time_stamps", 0.0, 1.0, "0 s to 1 s"),
];

/// Times that can be.
pub(super) fn times(map: &CheckedMap, problems: &mut Vec<Problem>) {
    for (name, least_s, most_s, words) in TIMES {
        let Some(formula) = map.may_formula(name) else { continue };
        if value_of(&formula).is_some_and(|value| !(least_s..=most_s).contains(&value.si())) {
            problems.push(
                Problem::new(
                    code::COUNT_RANGE,
                    &formula.span,
                    format!("`{}` is outside the range of `{name}`", formula.expr.text()),
                )
                .expected(words)
                .got(format!("`{}`", formula.expr.text()))
                .mend(format!("write a time from {words}")),
            );
        }
    }
}

/// Identifiers that exist; each once.
pub(super) fn identifiers(map: &CheckedMap, problems: &mut Vec<Problem>) {
    let mut known: BTreeMap<u32, &Sp<String>> = BTreeMap::new();
    for (name, frame) in &map.rest {
        let Checked::Map(frame) = frame else { continue };
        let Some(text) = frame.may_text("id") else { continue };
        match identifier(frame) {
            None => problems.push(no_such_identifier(&text, frame.truth("extended"))),
            Some(id) => {
                if let Some(first) = known.insert(id.rank(), name) {
                    problems.push(
                        Problem::new(
                            code::SAME_IDENTIFIER,
                            &text.span,
                            format!("`{}` has the identifier of `{}`", name.value, first.value),
                        )
                        .expected("an identifier of its own")
                        .got(format!("`{}`", text.value))
                        .mend("give each frame its own identifier, or mark those of 29 bit with `extended: true`"),
                    );
                }
            }
        }
    }
}

/// The identifier of a frame, where it exists.
pub(crate) fn identifier(frame: &CheckedMap) -> Option<Id> {
    let number = identifier_of(&frame.may_text("id")?.value)?;
    if frame.truth("extended") {
        (number <= Id::LAST_EXTENDED).then_some(Id::Extended(number))
    } else {
        let short = u16::try_from(number).ok().filter(|id| *id <= Id::LAST_STANDARD);
        short.map(Id::Standard)
    }
}

fn no_such_identifier(text: &Sp<String>, extended: bool) -> Problem {
    let (bits, last) = if extended { (29, "0x1fffffff") } else { (11, "0x7ff") };
    let mend = if extended {
        "write a lower one"
    } else {
        "write a lower one, or `extended: true` beside it where it has 29 bits"
    };
    Problem::new(
        code::BAD_IDENTIFIER,
        &text.span,
        format!("`{}` is no identifier of {bits} bit", text.value),
    )
    .expected(format!("0x0 to {last}"))
    .got(format!("`{}`", text.value))
    .mend(mend)
}

/// The bits that a map names; `None` where one of its keys has a problem of its own.
pub(crate) fn field(map: &CheckedMap) -> Option<Field> {
    let big = map.may_text("order").is_some_and(|order| order.value == "big");
    Some(Field {
        start: u8::try_from(map.count("start").ok()?).ok()?,
        length: u8::try_from(map.count("length").ok()?).ok()?,
        order: if big { ByteOrder::Big } else { ByteOrder::Little },
        signed: map.truth("signed"),
    })
}

/// Everything that takes bits of a frame, with its name and place.
fn takers(frame: &CheckedMap) -> Vec<(String, Span, Field)> {
    let mut all = Vec::new();
    let signals = frame.may_map("signals").map_or(&[][..], |signals| &signals.rest);
    for (name, signal) in signals {
        if let Checked::Map(signal) = signal {
            let place = signal.place("start").clone();
            all.extend(field(signal).map(|field| (format!("the signal `{}`", name.value), place, field)));
        }
    }
    if let Some(counter) = frame.may_map("counter") {
        let place = counter.place("start").clone();
        all.extend(field(counter).map(|field| ("the counter".to_owned(), place, field)));
    }
    if let Some(checksum) = frame.may_map("checksum") {
        let byte = checksum.count("byte").ok().and_then(|byte| u8::try_from(byte).ok());
        let field = |byte: u8| Field {
            start: 8 * byte,
            length: 8,
            order: ByteOrder::Little,
            signed: false,
        };
        let place = checksum.place("byte").clone();
        all.extend(byte.map(|byte| ("the checksum".to_owned(), place, field(byte))));
    }
    all
}

/// Bits lie in the frame, each used once.
pub(super) fn bits(frame: &CheckedMap, problems: &mut Vec<Problem>) {
    let Some(length) = frame.count("length").ok().and_then(|length| u8::try_from(length).ok()) else {
        return;
    };
    let mut taken: BTreeMap<u16, String> = BTreeMap::new();
    for (name, place, field) in takers(frame) {
        if !field.fits(length) {
            let outside = field.positions().find(|bit| *bit >= 8 * u16::from(length)).unwrap_or(0);
            problems.push(
                Problem::new(
                    code::BITS_OUTSIDE,
                    &place,
                    format!("{name} reaches beyond the end of its frame"),
                )
                .expected(format!("bits 0 to {} in {length} bytes", 8 * u16::from(length) - 1))
                .got(format!("bit {outside}"))
                .mend("correct start, length or order, or the length of the frame"),
            );
            continue;
        }
        let other = field.positions().find_map(|bit| Some((bit, taken.get(&bit)?.clone())));
        if let Some((bit, other)) = other {
            problems.push(
                Problem::new(code::BITS_TWICE, &place, format!("{name} and {other} share bits"))
                    .expected("each bit used once")
                    .got(format!("bit {bit} used twice"))
                    .mend("correct start, length or order of one of them"),
            );
        }
        taken.extend(field.positions().map(|bit| (bit, name.clone())));
    }
}

/// A frame that is abandoned is one that the bench sends, and says words that its signals have.
pub(super) fn abandoned(frame: &CheckedMap, problems: &mut Vec<Problem>) {
    let Some(abandoned) = frame.may_map("abandoned") else {
        return;
    };
    let to_item = frame
        .may_text("direction")
        .is_none_or(|direction| direction.value == "to_item");
    if !to_item {
        problems.push(
            Problem::new(
                code::ABANDONED,
                frame.place("abandoned"),
                "a frame that comes from the item is sent by the item, whether this program lives or not",
            )
            .expected("`abandoned` only where `direction: to_item`")
            .got("`direction: from_item`")
            .mend("take the key away"),
        );
        return;
    }
    for (name, word) in &abandoned.rest {
        let Checked::Text(word) = word else { continue };
        let known = words_of(frame, &name.value);
        if !known.contains(&word.value.as_str()) {
            let (expected, mend) = if known.is_empty() {
                (
                    "a signal of this frame that holds words".to_owned(),
                    "name the signal that makes the item stop, or take the key away: then nothing is sent any more",
                )
            } else {
                (
                    format!("one of: {}", known.join(", ")),
                    "write the word that makes the item stop",
                )
            };
            problems.push(
                Problem::new(
                    code::ABANDONED,
                    &word.span,
                    format!("`{}` cannot say `{}`", name.value, word.value),
                )
                .expected(expected)
                .got(format!("`{}: {}`", name.value, word.value))
                .mend(mend),
            );
        }
    }
}

/// The words of a signal of a frame; none where it has none, or is not there.
fn words_of<'m>(frame: &'m CheckedMap, signal: &str) -> Vec<&'m str> {
    let signals = frame.may_map("signals").map_or(&[][..], |signals| &signals.rest);
    let found = signals.iter().find(|(name, _)| name.value == signal);
    let Some((_, Checked::Map(found))) = found else {
        return Vec::new();
    };
    let words = found.may_map("words").map_or(&[][..], |words| &words.rest);
    words
        .iter()
        .filter_map(|(_, word)| match word {
            Checked::Text(word) => Some(word.value.as_str()),
            _ => None,
        })
        .collect()
}

/// A signal may not be called like what is worked out of its frame.
pub(super) fn names(signals: &CheckedMap, problems: &mut Vec<Problem>) {
    let taken = |name: &&Sp<String>| OF_SENT.iter().chain(&OF_WATCHED).any(|taken| *taken == name.value);
    for name in signals.present.iter().filter(taken) {
        problems.push(
            Problem::new(
                code::TAKEN_NAME,
                &name.span,
                format!("`{}` stands for something that is worked out of the frames", name.value),
            )
            .expected(format!(
                "another name than {}",
                OF_SENT
                    .iter()
                    .chain(&OF_WATCHED)
                    .copied()
                    .collect::<Vec<_>>()
                    .join(", ")
            ))
            .mend("call the signal something else"),
        );
    }
}

/// The raw numbers of words can be held, and each word stands once.
pub(super) fn words(signal: &CheckedMap, problems: &mut Vec<Problem>) {
    let (Some(field), Some(words)) = (field(signal), signal.may_map("words")) else {
        return;
    };
    let (low, high) = field.range();
    let mut known: Vec<&str> = Vec::new();
    for (number, word) in &words.rest {
        let fits = number.value.parse::<i64>().is_ok_and(|raw| (low..=high).contains(&raw));
        if !fits {
            problems.push(too_few_bits(
                &number.span,
                &format!("{} cannot be held by {} bits", number.value, field.length),
                &format!("{low} to {high}"),
            ));
        }
        if let Checked::Text(word) = word {
            if known.contains(&word.value.as_str()) {
                problems.push(
                    Problem::new(
                        code::TAKEN_NAME,
                        &word.span,
                        format!("`{}` stands for two numbers", word.value),
                    )
                    .expected("each word once")
                    .mend("give each number a word of its own"),
                );
            }
            known.push(&word.value);
        }
    }
}

/// The counter's bits can hold its highest count.
pub(super) fn modulus(counter: &CheckedMap, problems: &mut Vec<Problem>) {
    let (Some(field), Ok(modulus)) = (field(counter), counter.count("modulus")) else {
        return;
    };
    let (_, high) = field.range();
    if i64::try_from(modulus).is_ok_and(|modulus| modulus > high + 1) {
        problems.push(too_few_bits(
            counter.place("modulus"),
            &format!("a count up to {} cannot be held by {} bits", modulus - 1, field.length),
            &format!("2 to {}", high + 1),
        ));
    }
}

fn too_few_bits(place: &Span, message: &str, expected: &str) -> Problem {
    Problem::new(code::TOO_FEW_BITS, place, message)
        .expected(expected)
        .mend("give it more bits, or a smaller number")
}
