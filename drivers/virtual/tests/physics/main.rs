//! The physics of the virtual wall unit, seen through its public words only.
#![allow(clippy::unwrap_used)]

mod charger;
mod charger_corners;
mod charger_dynamics;
mod charger_heat;
mod charger_plant;
mod charger_power;
mod contactor;
mod contacts;
mod defects;
mod determinism;
mod earthing;
mod guard;
mod harmonics;
mod heat;
mod mains;
mod pilot_edges;
mod pilot_levels;
mod readings;
mod rig;
mod severities;
