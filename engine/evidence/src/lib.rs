//! Events, the record in its own versioned form, judging, roll-up and sides: pure.
//!
//! | module | holds |
//! | --- | --- |
//! | [`words`] | verdicts, sides, energy states, statuses: the closed word lists of the design |
//! | [`event`] | what a run says about itself, one event after the other |
//! | [`heading`] | what stands at the top of a record: item, bench, limits, steps, cautions |
//! | [`beside`] | why a step is not a pass, without what its judgements say |
//! | [`document`] | everything that a report prints, made from a record |
//! | [`judge`] | one reading against one limit |
//! | [`normal`] | the normal distribution |
//! | [`outcome`] | what each step came to |
//! | [`pictured`] | what a report is to draw of a step |
//! | [`record`] | the folder that a run leaves, written, sealed, read back, verified |
//! | [`rejudge`] | everything worked out again from a record alone |
//! | [`rollup`] | from judgements to a step, a run, an exit code |
//! | [`sides`] | on which side the fault lies |
//! | [`void`] | readings that count no more, because the bench was not the same at the end |

pub mod beside;
pub mod document;
pub mod event;
pub mod heading;
pub mod judge;
pub mod normal;
pub mod outcome;
pub mod pictured;
pub mod record;
pub mod rejudge;
pub mod rollup;
pub mod sides;
pub mod void;
mod wording;
pub mod words;

pub use document::Document;
pub use event::{Event, Stamped};
pub use heading::Heading;
pub use judge::{Ruling, judge_limit, judge_reading};
pub use record::{Record, RecordWriter};
pub use sides::{SideRule, SideStatement};
pub use words::{DecisionRule, EnergyState, ItemKind, Side, SignalWord, SourceStatus, Verdict};
