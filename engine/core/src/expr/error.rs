//! What is wrong with an expression or a quantity as written.

use std::ops::Range;

/// What is wrong with an expression, and where.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct ExprError {
    /// Byte range within the text.
    pub at: Range<usize>,
    /// What is wrong: what was expected and what came.
    pub message: String,
    /// How to mend it.
    pub mend: Option<String>,
}

impl ExprError {
    pub(crate) fn new(at: Range<usize>, message: impl Into<String>) -> Self {
        Self {
            at,
            message: message.into(),
            mend: None,
        }
    }

    pub(crate) fn mended(self, mend: impl Into<String>) -> Self {
        Self {
            mend: Some(mend.into()),
            ..self
        }
    }
}
