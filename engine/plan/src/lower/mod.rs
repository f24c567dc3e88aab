//! From checked trees to the typed files.
//!
//! | module | holds |
//! | --- | --- |
//! | [`mod@read`] | the entry: from a text or bytes to a file, with all problems at once |
//! | `common` | tolerances, sources, words |
//! | `sequence`, `acts`, `find` | the sequence and the chapter |
//! | `others` | limits, items, benches, defects, side rules |
//! | `driver` | drivers |
//! | `frames` | frames |

mod acts;
mod common;
mod driver;
mod find;
mod find_power;
mod frames;
mod others;
mod picture;
pub mod read;
mod sequence;

pub use read::{AnyFile, FileKind, read, read_bytes};
