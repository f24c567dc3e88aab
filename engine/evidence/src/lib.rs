//! Events, the record in its own versioned form, judging, roll-up and sides: pure.
//!
//! | module | holds |
//! | --- | --- |
//! | [`words`] | verdicts, sides, energy states, statuses: the closed word lists of the design |
//! | [`event`] | what a run says about itself, one event after the other |
//! | [`heading`] | what stands at the top of a record: item, bench, limits, steps, cautions |

pub mod event;
pub mod heading;
pub mod words;

pub use event::{Event, Stamped};
pub use heading::Heading;
pub use words::{DecisionRule, EnergyState, ItemKind, Side, SignalWord, SourceStatus, Verdict};
