//! Fitting a sequence to an item and a bench.
#![allow(clippy::unwrap_used)]

mod build;
mod energy;
mod examples;
mod newer_forms;
mod programs;
mod refusals;
mod shipped;
