//! Frames of a CAN bus: signals in bits, checksums, counters, and the supervision of what comes periodically. Pure: no socket and
//! no clock; times are given.
//!
//! | module | holds |
//! | --- | --- |
//! | [`field`] | where a signal lies among the bits of a frame, in both byte orders |
//! | [`checksum`] | the checksums of one byte |
//! | [`frame`] | a frame, its identifier, the order of arbitration, its length on the wire |
//! | [`layout`] | a kind of frame: signals, counter, checksum, period |
//! | [`watch`] | arrivals of one kind of frame: period, loss, faults |
//! | [`node`] | one party on a bus that sends and watches what a map says |
//! | [`life`] | signs of life of whoever owns such a party |

pub mod checksum;
pub mod field;
pub mod frame;
pub mod layout;
pub mod life;
pub mod node;
pub mod watch;

pub use checksum::Checksum;
pub use field::{ByteOrder, Field};
pub use frame::{Frame, Id};
pub use layout::{Check, Counter, Layout, Map, OutOfRange, Signal};
pub use life::Life;
pub use node::{Node, NodeError, Sending};
pub use watch::{Figures, Seen, Watch};
