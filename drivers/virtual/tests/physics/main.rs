//! The physics of the virtual wall unit, seen through its public words only.
#![allow(clippy::unwrap_used)]

mod charger;
mod contactor;
mod contacts;
mod defects;
mod determinism;
mod earthing;
mod frames;
mod guard;
mod harmonics;
mod heat;
mod mains;
mod pilot_edges;
mod pilot_levels;
mod readings;
mod rig;
mod severities;
