//! The virtual bench: physics, and instruments that speak SCPI over it

pub mod instruments;
pub mod person;
pub mod physics;
