//! What a bench can do with an item, said before anything is plugged in: limits, what is left out, time, hands, make safe,
//! and the hook-up page.
//!
//! | module | holds |
//! | --- | --- |
//! | [`assemble`] | all of it, worked out from a fitted sequence |
//! | [`advice`] | which instrument would do what this bench does not |
//! | [`lines`] | as text of a given width |
//! | [`limit_lines`] | the limits among it |
//! | [`json`] | as JSON |
//! | [`hook_up`] | the hook-up page, worked out from the bench file |
//! | [`drawing`] | the hook-up page as text |
//! | [`words`] | spans of time, acts of make safe, wrapped lines |

pub mod advice;
pub mod assemble;
pub mod drawing;
pub mod hook_up;
pub mod json;
pub mod limit_lines;
pub mod lines;
pub mod words;

pub use assemble::BenchFit;
