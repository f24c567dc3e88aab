//! One exchange at a time with each instrument: who has its turn owns the link, so exchanges never mix.
//!
//! | module | holds |
//! | --- | --- |
//! | [`message`] | what is sent, and what came of it |
//! | [`handle`] | whose turn it is: two lanes, `Lane::Guard` before `Lane::Work` |
//! | `exchange` | one exchange: permission, deadline, nothing unasked before or after the answer |
//! | `recovery` | a link that is not trusted any more is made sure before the next exchange |
//!
//! Whoever waits may go away: an exchange that has begun is brought to its end by a task, one that has not begun is never
//! sent. After a time-out, a damaged reply or bytes that nobody asked for, the link is not trusted: it is connected again, or
//! a marker is sent and everything before its unique answer is discarded; then `*IDN?` must answer as before. So a late reply
//! is never taken for another question's.
//!
//! All of it is `Send`: it runs on a current-thread runtime (paused or not) without a `LocalSet`, and on a multi-thread
//! runtime. The runner's own futures need not be `Send`.

pub mod handle;
pub mod message;

mod exchange;
mod recovery;

#[cfg(test)]
mod tests;

pub use handle::Handle;
pub use message::{Done, Message, Outcome, Permission};
