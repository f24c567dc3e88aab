//! What each kind of file says, with every name still as written.
//!
//! A file is read in two steps: a spanned tree lowered through the table of shapes into these types, then named checks.

pub mod bench;
pub mod chapter;
pub mod defect;
pub mod driver;
pub mod frames;
pub mod item;
pub mod limits;
pub mod picture;
pub mod power;
pub mod sequence;
pub mod sides;
pub mod takes;
