//! From checked trees to the typed files.
//!
//! | module | holds |
//! | --- | --- |
//! | [`mod@read`] | the entry: from a text or bytes to a file, with all problems at once |
//! | `common` | tolerances, sources, words |
//! | `sequence`, `acts`, `find` | the sequence |
//! | `others` | limits, items, benches, defects, side rules |
//! | `driver` | drivers |

mod acts;
mod common;
mod driver;
mod find;
mod find_power;
mod others;
mod picture;
pub mod read;
mod sequence;

pub use read::{AnyFile, FileKind, read, read_bytes};
