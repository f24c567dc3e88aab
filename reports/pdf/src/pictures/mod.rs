//! Pictures laid out: where each cell, point and bar stands, and the same in words for those who cannot see it.
//!
//! | module | holds |
//! | --- | --- |
//! | `field` | a map |
//! | `ladder` | readings over one name |
//! | `columns` | bars |
//! | `course` | readings over time |
//! | `words` | what a picture shows, as a text |

mod columns;
mod course;
mod field;
mod ladder;
mod words;

use crate::printable::printable;
use crate::sketch::Sketch;
use pilotage_evidence::document::picture::{Picture, Shows};
use serde::Serialize;

/// Width of a picture that has the whole line, in points.
const WIDE_PT: f64 = 486.0;
/// Width of a picture that shares its line with another, in points.
const HALF_PT: f64 = 236.0;
/// Room for the figures left of a plot, in points.
const LEFT_PT: f64 = 30.0;

/// One picture, ready to be placed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Drawing {
    id: String,
    title: String,
    held: String,
    form: &'static str,
    wide: bool,
    sketch: Sketch,
    /// The one limit of all, where there is one.
    limit: String,
    /// The same in words.
    alt: String,
}

/// A picture laid out; `None` where it has nothing to draw.
pub(crate) fn drawing(picture: &Picture) -> Option<Drawing> {
    let (form, (wide, sketch)) = match &picture.shows {
        Shows::Map(map) => ("map", field::sketch(map)?),
        Shows::Ladder(ladder) => ("ladder", ladder::sketch(ladder)?),
        Shows::Bars(bars) => ("bars", columns::sketch(bars)?),
        Shows::Course(course) => ("course", course::sketch(course)?),
    };
    Some(Drawing {
        id: printable(&picture.id),
        title: printable(&picture.title),
        held: printable(&picture.held),
        form,
        wide,
        sketch: sketch.done(),
        limit: printable(&words::one_limit(&picture.shows)),
        alt: printable(&words::told(picture)),
    })
}
