//! The runner against a scripted bench, clock, journal and person, in virtual time.
#![allow(clippy::unwrap_used)]

mod acts;
mod analyses;
mod asks;
mod bleed;
mod campaign;
mod closing;
mod fakes;
mod guards;
mod hand_held;
mod program;
mod recorder;
mod stop_proof;
mod ways_out;
mod without_source;
