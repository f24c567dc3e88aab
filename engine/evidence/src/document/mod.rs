//! The plain document: made from a record once, laid out by every kind of report.
//!
//! | module | holds |
//! | --- | --- |
//! | [`types`] | everything that a report prints |
//! | `build` | the document as a whole |
//! | `rows` | judgements and readings, with what the instruments answered |
//! | `safety` | cautions, dead statements, watches, make safe: what happened around the steps |
//! | [`picture`] | pictures as data |
//! | `pictures`, `taken` | pictures from the record, and the readings in them |
//! | `plots` | captures thinned out |
//! | [`reasons`] | why the verdict is not a pass, in few words |
//! | `state_map` | the sweep of the pilot's load |
//! | `text` | quantities and limits as people read them |

mod build;
pub mod picture;
mod pictures;
mod plots;
pub mod reasons;
mod rows;
mod safety;
mod state_map;
mod taken;
mod text;
pub mod types;

pub use build::build;
pub use picture::{Plot, PlotKind, Trace};
pub use types::*;
