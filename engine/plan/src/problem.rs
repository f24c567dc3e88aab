//! What can be wrong with a file: one table of codes, and problems with their place and mend.
//!
//! Rendering for people lives in [`crate::render`]; this module only says what is wrong, where, and how to mend it.

use crate::source::Span;

/// One kind of problem, as the documentation lists it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Code {
    /// `P012`, for ever: a code is never used for anything else.
    pub id: &'static str,
    /// What is wrong, in general.
    pub title: &'static str,
}

macro_rules! codes {
    ($(#[$doc:meta])* $table:ident { $($name:ident = $id:literal $title:literal;)* }) => {
        $(#[doc = $title] pub const $name: &str = $id;)*
        $(#[$doc])*
        pub static $table: &[Code] = &[$(Code { id: $id, title: $title }),*];
    };
}

/// The codes of reading one file. Fitting files together has a table of its own (`F…`).
pub mod code {
    use super::Code;

    codes! {
        /// Every code that reading a single file can give, in order.
        READING {
            NOT_UTF8 = "P001" "the file is not UTF-8 text";
            TOO_LARGE = "P002" "the file is too large";
            BAD_CHARACTER = "P003" "a character that has no place in a file";
            SYNTAX = "P004" "not well-formed YAML 1.2";
            TAB = "P005" "a tab where blanks are wanted";
            TOO_DEEP = "P006" "nested too deeply";
            TOO_MANY_VALUES = "P007" "too many values";
            EMPTY_FILE = "P008" "the file says nothing";
            SEVERAL_DOCUMENTS = "P009" "several documents in one file";
            YAML_VERSION = "P010" "another version of YAML";
            TAG = "P011" "a YAML tag";
            MERGE_KEY = "P012" "a YAML merge key";
            ALIAS = "P013" "an alias that stands for nothing";
            DUPLICATE_KEY = "P014" "the same key twice";
            NO_VALUE = "P015" "a key or a list entry without a value";
            KEY_NOT_TEXT = "P016" "a key that is not a text";
            MORE_PROBLEMS = "P019" "more problems than are listed";
            NO_KIND = "P020" "the file does not begin with its kind";
            UNKNOWN_KIND = "P021" "an unknown kind of file";
            UNKNOWN_FORM = "P022" "an unknown form of this kind of file";
            OTHER_KIND = "P023" "a file of another kind is wanted here";
            UNKNOWN_KEY = "P030" "an unknown key";
            MISSING_KEY = "P031" "a key is missing";
            WRONG_SORT = "P032" "a text, a list or a map stands where another of them is wanted";
            UNKNOWN_WORD = "P033" "a word that is not in the list";
            BAD_NAME = "P034" "a name of the wrong form";
            NOT_TRUE_FALSE = "P035" "neither true nor false";
            BAD_COUNT = "P036" "not a whole number";
            COUNT_RANGE = "P037" "a number outside its range";
            LIST_LENGTH = "P038" "too few or too many entries";
            EXCLUSIVE_KEYS = "P039" "keys that exclude each other";
            NO_FORM = "P040" "none of the possible forms";
            KEY_NEEDS_KEY = "P041" "a key that needs another one";
            BAD_DATE = "P042" "not a date";
            BAD_ADDRESS = "P043" "not an address";
            UNKNOWN_PLACEHOLDER = "P044" "an unknown placeholder in a message";
            NO_PLACEHOLDER = "P045" "a message without its placeholder";
            EMPTY_TEXT = "P046" "an empty text";
            BAD_EXPRESSION = "P050" "an expression that cannot be read";
            WRONG_DIMENSION = "P051" "a quantity of the wrong dimension";
            NOT_A_CONDITION = "P052" "a condition where a quantity is wanted, or the other way round";
            NOT_LITERAL = "P053" "a name where only a number may stand";
            BARE_SHARE = "P054" "a share without what it is a share of";
            CELSIUS_DIFFERENCE = "P055" "a difference of temperatures in °C";
            UNKNOWN_UNIT = "P056" "an unknown unit";
            BOUNDS_TURNED = "P057" "bounds the wrong way round";
            MIXED_DIMENSIONS = "P058" "values that cannot be compared with each other";
            NO_STATUS = "P060" "a demand that does not say how it is known";
            NO_SOURCE = "P061" "a limit without its source";
            BAD_IDENTIFIER = "P062" "an identifier that no frame can have";
            SAME_IDENTIFIER = "P063" "two frames with one identifier";
            BITS_OUTSIDE = "P064" "bits that lie outside of their frame";
            BITS_TWICE = "P065" "bits that are used twice";
            TOO_FEW_BITS = "P066" "a number that its bits cannot hold";
            TAKEN_NAME = "P067" "a name that stands for something else";
            ABANDONED = "P068" "what an abandoned frame cannot say";
            CHAPTER_IN_CHAPTER = "P069" "a chapter within a chapter";
        }
    }

    /// Not a user's mistake: the table of shapes and the code that reads it disagree.
    pub const OUR_MISTAKE: &str = "P099";
}

/// Every table of codes, one for each stage. A new stage adds its table here.
pub fn tables() -> &'static [&'static [Code]] {
    static TABLES: &[&[Code]] = &[code::READING, crate::fit::code::FITTING];
    TABLES
}

/// Something wrong in a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// One of [`code`], or of the table of a later stage.
    pub code: &'static str,
    /// Where.
    pub span: Span,
    /// What is wrong, in one line.
    pub message: String,
    /// What was expected there, where that can be said.
    pub expected: Option<String>,
    /// What came instead.
    pub got: Option<String>,
    /// How to mend it.
    pub mend: Option<String>,
}

impl Problem {
    /// A problem with its place and message.
    pub fn new(code: &'static str, span: &Span, message: impl Into<String>) -> Self {
        Self {
            code,
            span: span.clone(),
            message: message.into(),
            expected: None,
            got: None,
            mend: None,
        }
    }

    /// Adds what was expected.
    #[must_use]
    pub fn expected(mut self, expected: impl Into<String>) -> Self {
        self.expected = Some(expected.into());
        self
    }

    /// Adds what came instead.
    #[must_use]
    pub fn got(mut self, got: impl Into<String>) -> Self {
        self.got = Some(got.into());
        self
    }

    /// Adds how to mend it.
    #[must_use]
    pub fn mend(mut self, mend: impl Into<String>) -> Self {
        self.mend = Some(mend.into());
        self
    }
}

/// How many problems of one file are listed.
pub const MOST_PROBLEMS: usize = 100;

/// Sorts by place, drops repetitions, and replaces all beyond [`MOST_PROBLEMS`] by one that counts them.
pub fn in_order(mut problems: Vec<Problem>) -> Vec<Problem> {
    problems.sort_by(|a, b| {
        let key = |p: &Problem| (p.span.file.clone(), p.span.offset, p.code);
        key(a).cmp(&key(b)).then_with(|| a.message.cmp(&b.message))
    });
    problems.dedup();
    if problems.len() > MOST_PROBLEMS {
        let rest = problems.split_off(MOST_PROBLEMS);
        problems.push(
            Problem::new(
                code::MORE_PROBLEMS,
                &rest[0].span,
                format!("{} more problems from here on", rest.len()),
            )
            .mend("mend those above first, then check again"),
        );
    }
    problems
}

/// Shortens untrusted text for a message and takes its control characters away.
pub(crate) fn quoted(text: &str) -> String {
    const MOST: usize = 60;
    let mut short: String = text
        .chars()
        .take(MOST)
        .map(|c| if c.is_control() { '\u{fffd}' } else { c })
        .collect();
    if text.chars().nth(MOST).is_some() {
        short.push('…');
    }
    format!("`{short}`")
}
