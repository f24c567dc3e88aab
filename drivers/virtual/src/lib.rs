//! The virtual bench: physics, and instruments that speak SCPI over it

pub mod physics;
