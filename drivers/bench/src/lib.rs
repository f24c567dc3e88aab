//! Links, SCPI messages, and driver files turned into bytes.
//!
//! | module | holds |
//! | --- | --- |
//! | [`scpi`] | SCPI and IEEE 488.2 messages without I/O |
//! | [`link`] | how bytes reach an instrument: memory, TCP, playback; trace and faults as middleware |
//! | [`actor`] | one exchange at a time with each instrument: two lanes, deadlines and recovery |
//! | [`frames`] | interfaces to a bus of frames |
//! | [`interpret`] | driver files and a bench file made into tables of messages and conversions |
//! | [`wired`] | the bench that the runner drives |
//! | [`trouble`] | what goes wrong at an instrument, in words |

pub mod actor;
pub mod frames;
pub mod interpret;
pub mod link;
pub mod scpi;
pub mod trouble;
pub mod wired;

#[cfg(test)]
mod testing;

pub use interpret::{Orders, Problem, Tables};
pub use link::{AtOnce, Device, Faults, Link, LinkError, MemoryLink, Playback, Progress, Simple, TcpLink, Trace};
pub use wired::Wired;
