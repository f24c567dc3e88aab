//! YAML 1.2 to a spanned tree: every value with its place and its text exactly as written.
//!
//! The tree is built from the parser's events with a stack of its own, so that no input can exhaust the program's stack,
//! all structural problems of a file come out at once, and numbers are read by our rules instead of YAML's (`010` is
//! ten nowhere, `yes` is a word). Anchors and aliases are expanded within the budget of values.

mod build;
mod syntax;

use crate::problem::{Problem, code};
use crate::source::{Sp, Span};
use std::sync::Arc;

/// Largest file, in bytes.
pub const MOST_BYTES: usize = 1024 * 1024;
/// Most values in a file, expanded aliases included.
pub const MOST_VALUES: usize = 50_000;
/// Deepest nesting of lists and maps.
pub const MOST_DEPTH: usize = 48;

/// A value and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Node {
    /// Where: a scalar with its quotes; a list or a map in braces by its first character, else by its first key or entry.
    pub span: Span,
    /// What.
    pub content: Content,
}

/// What a node holds.
#[derive(Debug, Clone, PartialEq)]
pub enum Content {
    /// A scalar as written, after YAML's quotes and escapes.
    Scalar {
        /// Its text.
        text: String,
        /// Whether it was quoted or a block, so that it means text and nothing else.
        quoted: bool,
    },
    /// A list.
    List(Vec<Node>),
    /// A map, in the order of the file.
    Map(Vec<(Sp<String>, Node)>),
    /// Something whose problem was already reported.
    Broken,
}

/// A tree, as far as there is one, and everything that is wrong with its structure.
#[derive(Debug)]
pub struct Parsed {
    /// The root; `None` where there is nothing to go on with.
    pub root: Option<Node>,
    /// Problems, not yet in order.
    pub problems: Vec<Problem>,
}

/// Reads a text. Never panics, whatever the text.
pub fn parse(file: &str, text: &str) -> Parsed {
    let file: Arc<str> = Arc::from(file);
    if let Some(problem) = refused(&file, text) {
        return Parsed {
            root: None,
            problems: vec![problem],
        };
    }
    build::build(file, text)
}

/// Reads bytes: refuses what is not UTF-8, and names the place.
pub fn decode<'b>(file: &str, bytes: &'b [u8]) -> Result<&'b str, Box<Problem>> {
    std::str::from_utf8(bytes).map_err(|error| {
        let good = std::str::from_utf8(&bytes[..error.valid_up_to()]).unwrap_or_default();
        let span = span_at(&Arc::from(file), good, good.len(), 0);
        let utf16 = bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]);
        let what = if utf16 {
            "this is UTF-16 text"
        } else {
            "a byte here is not UTF-8 text"
        };
        let problem = Problem::new(code::NOT_UTF8, &span, what)
            .expected("UTF-8")
            .got(format!("byte 0x{:02X}", bytes[error.valid_up_to()]))
            .mend("save the file as UTF-8");
        Box::new(problem)
    })
}

/// Characters that turn the direction of writing, with which a text can look different from what it says.
pub(crate) fn turns_text(c: char) -> bool {
    matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// The place of a byte offset.
fn span_at(file: &Arc<str>, text: &str, offset: usize, length: usize) -> Span {
    let before = &text[..offset];
    let line_start = before.rfind('\n').map_or(0, |at| at + 1);
    let line = before.bytes().filter(|b| *b == b'\n').count() + 1;
    let column = before[line_start..].chars().filter(|c| *c != '\u{feff}').count() + 1;
    Span {
        file: file.clone(),
        line: line as u32,
        column: column as u32,
        offset,
        length,
    }
}

fn refused(file: &Arc<str>, text: &str) -> Option<Problem> {
    if text.len() > MOST_BYTES {
        let problem = Problem::new(code::TOO_LARGE, &span_at(file, text, 0, 0), "the file is too large")
            .expected(format!("at most {MOST_BYTES} bytes"))
            .got(format!("{} bytes", text.len()))
            .mend("split it into several files");
        return Some(problem);
    }
    let bad = |c: char| (c.is_control() && !matches!(c, '\n' | '\r' | '\t')) || turns_text(c);
    let (at, found) = text.char_indices().find(|(_, c)| bad(*c))?;
    let place = span_at(file, text, at, found.len_utf8());
    let name = format!("U+{:04X}", found as u32);
    Some(
        Problem::new(
            code::BAD_CHARACTER,
            &place,
            format!("the character {name} has no place in a file"),
        )
        .expected("visible text")
        .got(name)
        .mend("delete the character"),
    )
}
