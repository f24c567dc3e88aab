//! Campaigns against the engine: an independent witness over random sequences, faults of links, journals and instruments,
//! and people who stop a run at any moment.
//!
//! `cargo test --test campaign` runs the short form. The full form wants an optimised build:
//! `PILOTAGE_CAMPAIGN=full cargo test --release --test campaign -- --nocapture`.
//! `PILOTAGE_CAMPAIGN_ONE=96 cargo test --test campaign one_sequence -- --nocapture` tells everything about sequence 96.
//!
//! | module | campaign | short | full |
//! | --- | --- | --- | --- |
//! | `random` | random sequences × defects × persons, against the truth | 200 | 2000 |
//! | `links` | faults of a link | 16 | 1000 |
//! | `journals` | the journal fails at an append, a sync, a capture | every 36th | every one |
//! | `flaws` | flaws of instruments | quick check | acceptance too |
//! | `coverage` | one voltage on every channel, differences and ratios against their uncertainty | 60 seeds | 1000 |
//! | `stops` | a person stops the run | 16 moments | 200 moments |
//!
//! `witness` writes down the truth, `contradictions` compares it with what was said and sent, `bench` runs, `sequences`
//! writes random sequences, `draw` draws.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

mod bench;
mod contradictions;
mod coverage;
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
