//! Texts and places in them.

use std::sync::Arc;

/// Where something stands in a file.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Span {
    /// The file's name as given, or `shipped:` and the name of an embedded one.
    pub file: Arc<str>,
    /// Line, from 1.
    pub line: u32,
    /// Column in characters, from 1.
    pub column: u32,
    /// Byte offset.
    pub offset: usize,
    /// Length in bytes.
    pub length: usize,
}

impl Span {
    /// `file:line`, as events and reports print it.
    pub fn place(&self) -> String {
        format!("{}:{}", self.file, self.line)
    }
}

/// A value and where it was written.
#[derive(Debug, Clone, PartialEq)]
pub struct Sp<T> {
    /// The value.
    pub value: T,
    /// Where it was written.
    pub span: Span,
}

/// An expression as written in a file, parsed.
#[derive(Debug, Clone, PartialEq)]
pub struct Formula {
    /// The parsed expression; its text is `expr.text()`.
    pub expr: pilotage_core::Expr,
    /// Where it was written.
    pub span: Span,
}
