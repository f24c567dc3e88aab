//! The PDF report, typeset by typst as a library.
//!
//! Fonts are embedded, the file is PDF/A-3 with the journal attached, and the same record gives the same bytes: identifier
//! and dates come from the run, never from the clock.
//!
//! | module | holds |
//! | --- | --- |
//! | [`world`] | what typst may read: the template, the document, the journal, three fonts; no disk, no network |
//! | [`printable`] | texts without hidden or missing characters, with places to break |
//! | `view` | the document grouped for its pages |
//! | `bars`, `traces`, `pictures` | places of everything that is drawn |
//! | `sketch`, `scale` | what drawings are made of |
//! | `hook_up` | a hook-up page made into a PDF |
//! | [`render`](mod@render) | a document made into a PDF |

mod bars;
mod hook_up;
mod pictures;
pub mod printable;
pub mod render;
mod scale;
mod sketch;
mod traces;
mod view;
pub mod world;

pub use hook_up::render_hook_up;
pub use render::{PdfError, render, warm_up};
