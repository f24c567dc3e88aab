//! The power path: source, contactor poles, outlet, protective earth, as one network of sines between events.
//!
//! | module | holds |
//! | --- | --- |
//! | [`complex`] | complex numbers, as far as phasors need them |
//! | [`network`] | the nodal equations and the phasors of every conductor |
//! | [`history`] | the recent past of the network, and what can be read from it |

mod complex;
mod history;
mod network;

pub(super) use history::{History, Sine};
pub(super) use network::{Fixed, Network, Phasors, Switching};
