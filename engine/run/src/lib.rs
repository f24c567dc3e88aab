//! The runner: permits, interlocks, protections, settling, make safe.
//!
//! The engine opens no socket and no window: it is given a bench, a clock, a journal and people through the traits of
//! [`world`]. [`run()`] executes a program and always ends in make safe.
//!
//! | module | holds |
//! | --- | --- |
//! | [`world`] | what the runner is given |
//! | [`permit`] | the proof that an energising act may happen now |
//! | [`options`] | what a run is started with and what it gives back |
//! | [`mod@run`] | the frame of a run: guards, ways out, the end |
//! | [`consequence`] | what a verdict changes: the one arrow back |
//! | `ready`, `stop_proof` | the tool's own steps BC-01, BC-02 and BC-11 |
//! | `steps`, `acts`, `energise`, `look`, `ask`, `capture`, `find`, `sweep`, `judge` | the author's steps |
//! | `guard` | interlocks and protections, watched beside every act |
//! | `dead`, `make_safe` | proving dead, and the tool's own order of de-energising |
//! | `halt`, `log`, `runner`, `values`, `wording` | what they share |

mod acts;
mod ask;
mod capture;
pub mod consequence;
mod dead;
mod energise;
mod find;
mod guard;
mod halt;
mod judge;
mod log;
mod look;
mod make_safe;
pub mod options;
pub mod permit;
mod power;
#[cfg(test)]
mod power_tests;
mod ready;
pub mod run;
mod runner;
mod steps;
mod stop_proof;
mod sweep;
mod typed;
mod values;
mod wording;
pub mod world;

pub use options::{Options, Outcome, StopProof, TOOL_ACT};
pub use run::run;
