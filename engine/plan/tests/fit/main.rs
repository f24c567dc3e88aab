//! Fitting a sequence to an item and a bench.
#![allow(clippy::unwrap_used)]

mod bench_files;
mod build;
mod chapters;
mod charger;
mod commands;
mod contacts;
mod duties;
mod energy;
mod examples;
mod fitness;
mod kinds;
mod left_out;
mod newer_forms;
mod pictures;
mod power;
mod programs;
mod refusals;
mod shipped;
mod terminals;
