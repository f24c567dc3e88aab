//! Power and what goes with it, from voltage and current that were sampled at the same moments.
//!
//! Everything periodic is taken over whole cycles of the line ([`Line`]): a [`Window`] may begin and end between two samples.
//!
//! | module | holds |
//! | --- | --- |
//! | `line` | [`Line`]: the frequency of the line, and the whole cycles that a capture holds |
//! | `window` | [`Window`]: how much each sample counts; mean, rms, and amplitude at one frequency |
//! | `ac` | [`PowerAnalysis`]: active, apparent and non-active power, power factor, displacement factor (IEEE 1459), efficiency |
//! | `condensed` | many samples in few, for the many lines of a spectrum |
//! | `harmonics` | [`Harmonics`]: lines, subgroups and groups to the 40th order (IEC 61000-4-7), distortion |
//! | `ripple` | [`Ripple`] of a direct voltage or current within a stated bandwidth |
//! | `surge` | [`Surge`]: peak, time above a level, I²t of an inrush |
//! | `lack` | [`LineLack`]: why nothing can be told over whole cycles |
//! | `response` | [`Response`]: how a signal comes to a new value |

mod ac;
mod condensed;
mod harmonics;
mod lack;
mod line;
mod response;
mod ripple;
mod surge;
mod window;

pub use crate::pulse::{Estimate, Lack};
pub use ac::{Disturbance, Power, PowerAnalysis, Waveform};
pub use harmonics::{Grouping, HIGHEST_ORDER, Harmonics};
pub use lack::LineLack;
pub use line::Line;
pub use response::{Response, Trace, response};
pub use ripple::{Ripple, least_length_s as ripple_length_s, least_rate_hz as ripple_rate_hz, ripple};
pub use surge::{Surge, surge};
pub use window::Window;

/// What the line is taken to have where nobody says it.
pub const USUAL_MAINS_HZ: f64 = 50.0;
