//! What a report is to draw of a step, as it stands in the heading: names, words and units. The values come from the record.

use serde::{Deserialize, Serialize};

/// One picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PicturePlate {
    /// What it shows, in words.
    pub title: String,
    /// How it is drawn, and of what.
    pub draws: Draws,
}

/// The forms of picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "form", rename_all = "snake_case")]
pub enum Draws {
    /// A field of cells: one reading over two names whose values the step goes through.
    Map {
        /// The reading.
        of: Shown,
        /// The name whose values run to the right.
        across: Shown,
        /// The name whose values run upwards.
        up: Shown,
    },
    /// Readings over one name, with the bounds that judged them as an area and a rule as a line.
    Ladder {
        /// The readings.
        of: Vec<Shown>,
        /// The name whose values run to the right.
        across: Shown,
        /// What the readings should follow.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        rule: Option<Rule>,
    },
    /// A bar for each reading, or for each value of a name, with the bounds as marks.
    Bars {
        /// The readings.
        of: Vec<Shown>,
        /// One reading over this name.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        across: Option<Shown>,
        /// What stands below the bars where they are readings.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        along: Option<String>,
        /// Whether equal ratios are equal lengths.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        logarithmic: bool,
    },
    /// Readings over the time of the step.
    Course {
        /// The readings, each of which is taken again and again.
        of: Vec<Shown>,
    },
    /// Captured waves over their time, with the moments that were found in them.
    Wave {
        /// The captured points.
        of: Vec<Shown>,
        /// Readings whose moments are marked.
        marks: Vec<Shown>,
    },
}

/// Something that a picture shows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shown {
    /// Name of the reading or of the values, or the point.
    pub name: String,
    /// What stands at its axis, in words.
    pub says: String,
    /// The unit to print in.
    pub unit: String,
}

/// What readings should follow, worked out before the run. A rule only guides the eye: limits judge.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Rule {
    /// As written.
    pub says: String,
    /// The name's value and the rule's, in coherent SI units, in rising order.
    pub points: Vec<(f64, f64)>,
}
