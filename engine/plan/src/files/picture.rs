//! `pictures` of a step: what a report draws of it.

use crate::source::{Formula, Sp, Span};

/// One entry of `pictures`.
#[derive(Debug, Clone, PartialEq)]
pub struct PictureText {
    /// Where it stands.
    pub span: Span,
    /// `title`
    pub title: Option<String>,
    /// `says`: words for names and points.
    pub says: Vec<(Sp<String>, String)>,
    /// What is drawn.
    pub form: PictureForm,
}

/// The forms of picture.
#[derive(Debug, Clone, PartialEq)]
pub enum PictureForm {
    /// `{map: reading, across: name, up: name}`
    Map {
        /// The reading.
        of: Sp<String>,
        /// The name whose values run to the right.
        across: Sp<String>,
        /// The name whose values run upwards.
        up: Sp<String>,
    },
    /// `{ladder: readings, across: name, rule: …}`
    Ladder {
        /// The readings.
        of: Vec<Sp<String>>,
        /// The name whose values run to the right.
        across: Sp<String>,
        /// What they should follow.
        rule: Option<Formula>,
    },
    /// `{bars: readings, across: name, along: words, scale: …}`
    Bars {
        /// The readings.
        of: Vec<Sp<String>>,
        /// One reading over this name.
        across: Option<Sp<String>>,
        /// What the bars are counted by.
        along: Option<String>,
        /// Whether equal ratios are equal lengths.
        logarithmic: bool,
    },
    /// `{course: readings}`
    Course {
        /// The readings.
        of: Vec<Sp<String>>,
    },
    /// `{wave: points, marks: readings}`
    Wave {
        /// The captured points.
        of: Vec<Sp<String>>,
        /// Readings of `find`.
        marks: Vec<Sp<String>>,
    },
}

/// `read: {…}, every: …` of `hold` and `settle`: readings on the way.
#[derive(Debug, Clone, PartialEq)]
pub struct AlongText {
    /// Names and points.
    pub reads: Vec<(Sp<String>, Sp<String>)>,
    /// Time between readings.
    pub every: Formula,
}
