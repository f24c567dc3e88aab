//! Waveform analysis of a two-level signal by IEEE 181: levels, edges, frequency, width, duty.
//!
//! | module | holds |
//! | --- | --- |
//! | `blocks` | lowest, highest and sum of each block of samples, so that later passes touch only the edges |
//! | `levels` | the two state levels by histogram |
//! | `edges` | transitions between two thresholds, and the moments when a level is crossed |
//! | `cycles` | period, width and duty from such moments |
//! | `parameters` | [`PulseParameters`] and [`analyse`] |
//! | `lack` | [`Lack`]: why a parameter has no value |

mod blocks;
mod cycles;
mod edges;
mod lack;
mod levels;
mod parameters;

pub use lack::Lack;
pub use levels::LevelMethod;
pub use parameters::{Estimate, Found, Options, PulseParameters, analyse, analyse_with};
