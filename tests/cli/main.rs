//! Tests of the real binary, in temporary folders: what a person or a CI job sees of each verb.
#![allow(clippy::unwrap_used)]

mod answers;
mod asked;
mod bad_files;
mod bench_demands;
mod challenge;
mod chapters;
mod charger;
mod charger_limits;
mod charger_repair;
mod check;
mod contacts;
mod exits;
mod fit;
mod help;
mod inspect;
mod links;
mod needs;
mod pages;
mod properties;
mod record;
mod rehearse;
mod schema;
mod support;
