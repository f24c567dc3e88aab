//! The physics of the virtual items, seen through its public words only.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

mod bus;
mod charger;
mod charger_corners;
mod charger_dynamics;
mod charger_heat;
mod charger_plant;
mod charger_power;
mod charger_stop;
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
