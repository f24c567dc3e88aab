//! The bench that the runner drives: tables and instrument tasks behind the runner's trait.
//!
//! | module | holds |
//! | --- | --- |
//! | [`open`] | putting it together, and the exchanges that all others use |
//! | [`start`] | who is there, and empty error queues |
//! | [`set`] | setting a point and reading it back |
//! | [`take`] | reading a point |
//! | [`capture`] | arming and fetching samples |
//! | [`mod@bench`] | the runner's trait |

pub mod bench;
pub mod capture;
pub mod open;
pub mod set;
pub mod start;
pub mod take;

#[cfg(test)]
mod tests;

pub use open::Wired;
