//! The pilot line: a source that switches, a capacitance, and a load behind a diode.
//!
//! | module | holds |
//! | --- | --- |
//! | [`circuit`] | the linear circuit on either side of the diode's knee, and its steady levels |
//! | [`comparator`] | how long a comparator sees a pulse high |
//! | [`walker`] | the waveform, piece by piece, in closed form |
//! | [`history`] | the recent past of the pilot, and what can be read from it |

mod circuit;
mod comparator;
mod history;
mod walker;

pub(super) use circuit::{Circuit, Diode, Load};
pub(super) use comparator::high_time_s;
pub(super) use history::History;
pub(super) use walker::{Drive, Hum, Pwm, Segment};
