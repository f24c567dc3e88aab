//! Campaigns against the engine: an independent witness over random sequences, faults of links, journals and instruments,
//! and people who stop a run at any moment.
//!
//! `cargo test --test campaign` runs the short form. The full form takes minutes and wants an optimised build:
//! `PILOTAGE_CAMPAIGN=full cargo test --release --test campaign -- --nocapture`.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

mod bench;
mod contradictions;
mod draw;
mod flaws;
mod journals;
mod links;
mod random;
mod sequences;
mod stops;
mod witness;

/// How many of something a campaign takes: few in every build, many in the full form.
fn size(few: usize, many: usize) -> usize {
    if std::env::var("PILOTAGE_CAMPAIGN").is_ok_and(|form| form == "full") {
        many
    } else {
        few
    }
}
