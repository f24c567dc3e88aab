//! What a link sees of the virtual instruments.
#![allow(clippy::unwrap_used)]
// Set points come back to the last bit, or the test must fail.
#![allow(clippy::float_cmp)]

mod accuracy;
mod charger;
mod charger_power;
mod commands;
mod common;
mod contacts;
mod desk;
mod files;
mod flaws;
mod measuring;
mod syntax;
mod timing;
