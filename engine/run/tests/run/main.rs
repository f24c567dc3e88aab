//! The runner against a scripted bench, clock, journal and person, in virtual time.
#![allow(clippy::unwrap_used)]

mod acts;
mod fakes;
mod guards;
mod program;
mod ways_out;
