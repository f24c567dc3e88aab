//! The virtual bench: physics, and instruments that speak SCPI over it

mod hand_meter;
pub mod instruments;
pub mod person;
pub mod physics;
