//! Events, the record in its own versioned form, judging, roll-up and sides: pure.
//!
//! | module | holds |
//! | --- | --- |
//! | [`words`] | verdicts, sides, energy states, statuses: the closed word lists of the design |
//! | [`event`] | what a run says about itself, one event after the other |
//! | [`heading`] | what stands at the top of a record: item, bench, limits, steps, cautions |
//! | [`judge`] | one reading against one limit |
//! | [`normal`] | the normal distribution |
//! | [`rollup`] | from judgements to a step, a run, an exit code |

pub mod event;
pub mod heading;
pub mod judge;
pub mod normal;
pub mod rollup;
pub mod words;

pub use event::{Event, Stamped};
pub use heading::Heading;
pub use judge::{Ruling, judge_limit, judge_reading};
pub use words::{DecisionRule, EnergyState, ItemKind, Side, SignalWord, SourceStatus, Verdict};
