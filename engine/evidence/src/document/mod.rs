//! The plain document: made from a record once, laid out by every kind of report.
//!
//! | module | holds |
//! | --- | --- |
//! | [`types`] | everything that a report prints |

pub mod types;

pub use types::Document;
