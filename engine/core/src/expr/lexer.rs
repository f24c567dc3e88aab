//! Text to tokens. A unit is part of its number's token, because it may stand nowhere else.

use super::error::ExprError;
use super::functions::Function;
use crate::number;
use crate::quantity::{Quantity, unknown_unit};
use crate::unit::Unit;
use std::ops::Range;

/// What a token is.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Token {
    /// A number with its unit ([`Unit::ONE`] where none is written).
    Number { written: String, unit: Unit },
    /// `$name`.
    Name(String),
    /// A word: keyword, function, or something unknown.
    Word(String),
    /// An operator, a bracket or a comma.
    Sign(&'static str),
}

/// A token and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Placed {
    pub(super) token: Token,
    pub(super) at: Range<usize>,
}

/// Signs, longest first, with the spelling that the parser sees.
const SIGNS: &[(&str, &str)] = &[
    ("<=", "<="),
    (">=", ">="),
    ("==", "=="),
    ("≤", "<="),
    ("≥", ">="),
    ("·", "*"),
    ("×", "*"),
    ("\u{2212}", "-"),
    ("<", "<"),
    (">", ">"),
    ("+", "+"),
    ("-", "-"),
    ("*", "*"),
    ("/", "/"),
    ("^", "^"),
    ("(", "("),
    (")", ")"),
    (",", ","),
];

/// Signs of other languages, with what is written here instead.
const FOREIGN: &[(&str, &str)] = &[
    ("**", "write a power as `^`"),
    ("&&", "write `and`"),
    ("||", "write `or`"),
    ("!=", "write `not $a == $b`"),
    ("=", "write a comparison as `==`"),
    ("!", "write `not`"),
    ("%", "a unit stands only directly after a number, as in `5 %`"),
    (".", "a point stands between digits, as in `0.5`; a name has none"),
    ("[", "group with `(` and `)`"),
    ("{", "group with `(` and `)`"),
];

const KEYWORDS: &[&str] = &["and", "or", "not", "of"];

/// Splits a text into tokens.
pub(super) fn tokens(text: &str) -> Result<Vec<Placed>, ExprError> {
    let mut found = Vec::new();
    let mut from = skip_space(text, 0);
    while from < text.len() {
        let placed = next(text, from)?;
        from = skip_space(text, placed.at.end);
        found.push(placed);
    }
    Ok(found)
}

fn next(text: &str, from: usize) -> Result<Placed, ExprError> {
    let rest = &text[from..];
    if let Some(length) = number::scan(rest) {
        return number(text, from, from + length);
    }
    if let Some(name) = rest.strip_prefix('$') {
        return name_token(name, from);
    }
    let word = word_length(rest);
    if word > 0 {
        return Ok(Placed {
            token: Token::Word(rest[..word].to_owned()),
            at: from..from + word,
        });
    }
    sign(rest, from)
}

fn number(text: &str, from: usize, end: usize) -> Result<Placed, ExprError> {
    let written = text[from..end].to_owned();
    let (unit, end) = unit(text, end)?;
    if Quantity::new(unit.read(&written), unit.dimension).is_err() {
        return Err(ExprError::new(
            from..end,
            format!("{written} is too large for a number"),
        ));
    }
    Ok(Placed {
        token: Token::Number { written, unit },
        at: from..end,
    })
}

/// The unit behind a number, and where it ends. A keyword, or a word with an opening bracket, is no unit.
fn unit(text: &str, number_end: usize) -> Result<(Unit, usize), ExprError> {
    let start = skip_space(text, number_end);
    let length = unit_length(&text[start..]);
    let symbol = &text[start..start + length];
    let called = text[start + length..].trim_start().starts_with('(') && Function::find(symbol).is_some();
    if length == 0 || KEYWORDS.contains(&symbol) || called {
        return Ok((Unit::ONE, number_end));
    }
    let found = Unit::find(symbol).ok_or_else(|| unknown_unit(symbol, start))?;
    Ok((found, start + length))
}

fn name_token(name: &str, from: usize) -> Result<Placed, ExprError> {
    let length = word_length(name);
    if length == 0 {
        let error = ExprError::new(from..from + 1, "expected a name directly after `$`");
        return Err(error.mended("write it as `$rated_current`"));
    }
    Ok(Placed {
        token: Token::Name(name[..length].to_owned()),
        at: from..from + 1 + length,
    })
}

fn sign(rest: &str, from: usize) -> Result<Placed, ExprError> {
    if let Some((foreign, mend)) = FOREIGN
        .iter()
        .find(|(sign, _)| rest.starts_with(sign) && !rest.starts_with("=="))
    {
        let error = ExprError::new(from..from + foreign.len(), format!("`{foreign}` has no meaning here"));
        return Err(error.mended(*mend));
    }
    if let Some((written, sign)) = SIGNS.iter().find(|(written, _)| rest.starts_with(written)) {
        return Ok(Placed {
            token: Token::Sign(sign),
            at: from..from + written.len(),
        });
    }
    let strange = rest.chars().next().map_or(1, char::len_utf8);
    let shown: String = rest.chars().take(1).flat_map(char::escape_debug).collect();
    Err(ExprError::new(
        from..from + strange,
        format!("`{shown}` has no meaning in an expression"),
    ))
}

fn skip_space(text: &str, from: usize) -> usize {
    text.len() - text[from..].trim_start().len()
}

fn word_length(rest: &str) -> usize {
    let end = rest
        .find(|c: char| !(c.is_alphanumeric() || c == '_'))
        .unwrap_or(rest.len());
    if rest.starts_with(|c: char| c.is_ascii_digit()) {
        0
    } else {
        end
    }
}

/// Letters, °, % and raised digits; a plain digit only behind a letter (`mm2`).
fn unit_length(rest: &str) -> usize {
    if rest.starts_with('%') {
        return 1;
    }
    let part_of_unit = |c: char| c.is_alphanumeric() || matches!(c, '°' | '²' | '³' | '_');
    let end = rest.find(|c: char| !part_of_unit(c)).unwrap_or(rest.len());
    if rest.starts_with(|c: char| c.is_ascii_digit()) {
        0
    } else {
        end
    }
}
