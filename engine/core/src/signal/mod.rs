//! Tracks, envelope and events of a captured signal: when did what happen, and within which interval.
//!
//! | module | holds |
//! | --- | --- |
//! | `levels` | [`Levels`]: mean, rms, span, highest, lowest |
//! | `channel` | [`Channel`]: a captured channel with its [`Timing`], and its parts |
//! | `event` | [`Event`], [`Which`]: crossings of a level |
//! | `track` | highest or lowest value of each pulse period, and when it changes |
//! | `duty` | duty of each pulse, and when it changes |
//! | `envelope` | rms over a sliding half period of the mains |
//! | `wave` | the settled sine of a capture: its angle at a moment, and how much of it stands at each sample |

mod channel;
mod duty;
mod envelope;
mod event;
mod levels;
mod track;
mod wave;

pub use crate::pulse::Lack;
pub use channel::{Channel, Part, Timing};
pub use event::{Event, Which, crossings};
pub use levels::{Levels, levels};
pub use wave::{Wave, hidden_by_crossing_s};
