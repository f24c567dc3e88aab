//! The table of shapes: one description of every file, which drives both the checks and the JSON Schema.
//!
//! | module | holds |
//! | --- | --- |
//! | [`table`] | what a shape is made of: records, keys, words, grammars, rules |
//! | [`common`] | parts that several kinds of file share: tolerances, sources, sides |
//! | [`sequence`] | the sequence |
//! | [`mod@chapter`] | steps that several sequences share |
//! | [`picture`] | what a report draws of a step |
//! | [`acts`], [`find`], [`waits`], [`questions`] | the forms of act |
//! | [`limits`], [`item`], [`mod@bench`], [`driver`], [`mod@frames`], [`defect`], [`sides`] | the other kinds of file |
//! | `frame_rules` | what the bits of a frame must keep |
//! | `checked` | a tree that was found to fit its shape |
//! | `check`, `scalar`, `rules` | the one check that the table drives |

pub mod acts;
pub mod bench;
pub mod chapter;
mod check;
pub(crate) mod checked;
pub mod common;
pub mod defect;
pub mod driver;
pub mod find;
mod find_power;
pub(crate) mod frame_rules;
pub mod frames;
pub mod item;
pub mod limits;
pub mod picture;
pub mod questions;
pub(crate) mod rules;
mod scalar;
pub mod sequence;
pub mod sides;
pub mod table;
pub mod waits;

pub(crate) use check::Checker;
pub(crate) use scalar::nearest;
