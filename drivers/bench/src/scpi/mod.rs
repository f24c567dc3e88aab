//! SCPI and IEEE 488.2 messages without I/O: bytes in, checked values out.
//!
//! | module | holds |
//! | --- | --- |
//! | [`framer`] | bytes in, whole messages out, bounded |
//! | [`reply`] | a whole message taken apart into units and elements |
//! | [`number`] | the numeric forms, overload and not-a-number |
//! | [`errors`] | entries of the error queue |
//! | [`identity`] | the four fields of `*IDN?` |
//! | [`line`](mod@line) | a message as it goes on the wire |
//! | [`text`] | bytes printed for people: escaped, in hex, shortened |

pub mod errors;
pub mod framer;
pub mod identity;
pub mod line;
pub mod number;
pub mod reply;
pub mod text;

#[cfg(test)]
mod tests;

pub use errors::Entry;
pub use framer::{FrameError, Framer, Sink};
pub use identity::Names;
pub use line::Line;
pub use number::Number;
pub use reply::{Element, Reply, samples};

/// A reply that is not what was asked for. Nothing is ever guessed from it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("expected {expected}, got {got}: {mend}")]
pub struct Refused {
    /// What was expected.
    pub expected: String,
    /// What came, escaped.
    pub got: String,
    /// How to mend it.
    pub mend: String,
}

impl Refused {
    pub(crate) fn new(expected: &str, got: &str, mend: &str) -> Self {
        Self {
            expected: expected.to_owned(),
            got: text::shortened(got.as_bytes()),
            mend: mend.to_owned(),
        }
    }
}
