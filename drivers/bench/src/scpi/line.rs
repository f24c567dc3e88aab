//! A message as it goes on the wire.

use std::sync::Arc;

/// The text of a message with the LF that ends it: made once, sent as often as wanted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line(Arc<str>);

impl Line {
    /// The text without its terminator.
    pub fn text(&self) -> &str {
        &self.0[..self.0.len() - 1]
    }

    /// The bytes, terminator included.
    pub fn bytes(&self) -> &[u8] {
        self.0.as_bytes()
    }
}

impl From<&str> for Line {
    fn from(text: &str) -> Self {
        let mut line = String::with_capacity(text.len() + 1);
        line.push_str(text);
        line.push('\n');
        Self(line.into())
    }
}

impl From<&Self> for Line {
    fn from(line: &Self) -> Self {
        line.clone()
    }
}
