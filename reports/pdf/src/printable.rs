//! Texts made printable: no character without a glyph (PDF/A forbids it), nothing that turns the reading direction, and
//! places to break long words. What an instrument, a file or a person wrote is data: the typesetter gets it as strings and
//! never as markup.

use crate::world::has_glyph;
use serde_json::Value;

/// Lets a line break without a mark.
pub const BREAK: char = '\u{200B}';
/// Shorter words fit into every column.
const LONG: usize = 16;
/// Within a word that offers no place to break, so many characters stay together.
const STRETCH: usize = 12;

/// Every text within a value made printable; names of fields are left alone.
pub(crate) fn value(value: &mut Value) {
    match value {
        Value::String(text) => *text = printable(text),
        Value::Array(all) => all.iter_mut().for_each(self::value),
        Value::Object(fields) => fields.values_mut().for_each(self::value),
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

/// One text made printable. What has no glyph, controls, and marks of direction are named by their code.
pub fn printable(text: &str) -> String {
    if text.is_ascii()
        && !text.contains(|c: char| c.is_ascii_control())
        && text.split(' ').all(|word| word.len() <= LONG)
    {
        return text.to_owned();
    }
    let visible: String = text.chars().map(visible).collect();
    let words: Vec<String> = visible.split(' ').map(breakable).collect();
    words.join(" ")
}

fn visible(c: char) -> String {
    match c {
        '\n' | '\t' => " ".to_owned(),
        _ if turns_or_hides(c) || !has_glyph(c) => format!("‹U+{:04X}›", u32::from(c)),
        _ => c.to_string(),
    }
}

/// Controls, marks of direction and invisible characters: they would show something else than what was written.
fn turns_or_hides(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{00AD}' | '\u{061C}' | '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2060}'..='\u{206F}')
        || matches!(c, '\u{FEFF}' | '\u{FFF0}'..='\u{FFFF}' | '\u{E000}'..='\u{F8FF}' | '\u{E0000}'..)
}

fn breakable(word: &str) -> String {
    // A hash stays as it is: it is printed where it fits.
    if word.len() <= LONG || is_hash(word) {
        return word.to_owned();
    }
    let mut out = String::with_capacity(word.len() * 2);
    let mut together = 0;
    for c in word.chars() {
        out.push(c);
        together += 1;
        if together == STRETCH || "_./[](),:;=-|?@".contains(c) {
            out.push(BREAK);
            together = 0;
        }
    }
    out
}

fn is_hash(word: &str) -> bool {
    word.len() == 64 && word.bytes().all(|byte| byte.is_ascii_hexdigit())
}

#[cfg(test)]
mod tests {
    use super::printable;

    #[test]
    fn what_turns_hides_or_has_no_glyph_is_named() {
        assert_eq!(printable("a\u{202E}b"), "a‹U+202E›b");
        assert_eq!(printable("\u{1b}[31m"), "‹U+001B›[31m");
        assert_eq!(printable("\u{1F600}"), "‹U+1F600›");
        assert_eq!(printable("one\ntwo"), "one two");
        assert_eq!(printable("8.98 V ≤ 10 kΩ, µs, °C, → …"), "8.98 V ≤ 10 kΩ, µs, °C, → …");
    }

    #[test]
    fn long_words_may_break_and_keep_their_characters() {
        let text = format!("hard_wired_stop_contactor_delay {}", "x".repeat(40));
        let broken = printable(&text);
        assert!(
            broken.split(['\u{200B}', ' ']).all(|part| part.chars().count() <= 12),
            "{broken}"
        );
        assert_eq!(broken.replace('\u{200B}', ""), text);
    }

    #[test]
    fn a_hash_and_short_words_stay() {
        let hash = "0123456789abcdef".repeat(4);
        assert_eq!(printable(&hash), hash);
        assert_eq!(printable("common_practice"), "common_practice");
    }
}
