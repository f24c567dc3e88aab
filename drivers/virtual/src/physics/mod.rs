//! The truth behind the virtual bench: pilot, contactor, mains and heat of an item, in closed form between events.
//!
//! It knows no SCPI and adds no measuring noise: that is the business of the instruments. One [`World`] is one item
//! on one bench. Nothing here reads a wall clock; the same setup and the same actions give the same bits.

mod api;
mod charger;
mod charger_words;
mod constants;
mod contactor;
mod contacts;
mod frames;
mod heat;
mod logic;
mod mains;
mod parameters;
mod pilot;
mod queue;
mod random;
mod station;
mod values;
mod wall_unit;
mod world;

pub use api::{
    Action, Command, Core, DcPair, DeadPath, Fixture, Generator, Inputs, Insulated, ItemSort, Node, Pair, PilotSource,
    PilotState, Pole, ProximitySet, ReferenceMode, Reported, Seen, Setup, SharedWorld, Truth, UnknownParameter,
};
pub use frames::bus;
pub use parameters::{Parameter, parameters};
pub use world::World;
