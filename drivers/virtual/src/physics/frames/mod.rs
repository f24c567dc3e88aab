//! A CAN bus in memory, in virtual time: the bench's interface and the charger on it.
//!
//! | module | holds |
//! | --- | --- |
//! | [`bus`] | arbitration, time on the wire, error counters, bus-off and recovery (ISO 11898-1) |
//! | `talk` | the charger's side: its status frames, and its supervision of what it is told |
//! | `traffic` | bus, interface and charger moved on together |
//! | `parameters` | the parameters |

pub mod bus;
mod parameters;
mod talk;
mod traffic;

pub(super) use parameters::FRAMES;
pub(super) use traffic::Traffic;
