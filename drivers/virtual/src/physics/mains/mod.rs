//! The power path: source, contactor poles, outlet, protective earth, as one network of waves between events.
//!
//! | module | holds |
//! | --- | --- |
//! | [`complex`] | complex numbers, as far as phasors need them |
//! | [`network`] | the nodal equations and the phasors of every conductor, for the fundamental and each harmonic |
//! | [`source`] | what the bench sets of the source |
//! | [`wave`] | what a fundamental with its harmonics is at a moment, and its sums over time |
//! | [`history`] | the recent past of the network |

mod complex;
mod history;
mod network;
mod source;
mod wave;

pub(super) use complex::Complex;
pub(super) use history::{Begun, History, Stretch};
pub(super) use network::{Earthing, Fixed, Network, Phasors, Switching};
pub(super) use source::Source;
pub(super) use wave::{Wave, order};
