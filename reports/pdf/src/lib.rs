//! The PDF report, typeset by typst as a library.
//!
//! Fonts are embedded, the file is PDF/A-3 with the journal attached, and the same record gives the same bytes: identifier
//! and dates come from the run, never from the clock.
//!
//! | module | holds |
//! | --- | --- |
//! | [`world`] | what typst may read: the template, the document, the journal, three fonts; no disk, no network |
//! | [`render`](mod@render) | a document made into a PDF |

pub mod render;
pub mod world;

pub use render::{PdfError, render};
