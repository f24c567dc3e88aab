//! Interfaces to a bus of frames: to the bench an instrument that answers lines of text, to the bus a party that sends and watches.
//!
//! | module | holds |
//! | --- | --- |
//! | [`front`] | the lines that an interface understands |
//! | [`socket`] | an interface of the system (`SocketCAN`) |
//! | [`device`] | an interface as a device behind a link in memory |

pub mod device;
pub mod front;
pub mod socket;

#[cfg(test)]
mod tests;

pub use device::{Interface, NodeAt};
pub use front::Front;
