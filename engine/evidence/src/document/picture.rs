//! Pictures and captured waves as data: axes with their units, and what was read at each place, with uncertainty, bounds and verdict.

use crate::words::Verdict;
use serde::Serialize;

/// One picture of a step.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Picture {
    /// Index of its step.
    pub step: u32,
    /// Id of its step.
    pub id: String,
    /// What it shows, in words.
    pub title: String,
    /// What is the same all over it: `u_out = 400 V`; empty where nothing is.
    pub held: String,
    /// What is drawn.
    pub shows: Shows,
}

/// The forms of picture. Waves are among the captures of a document.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "form", rename_all = "snake_case")]
pub enum Shows {
    /// A field of cells.
    Map(Field),
    /// Readings over one name.
    Ladder(Ladder),
    /// A bar for each reading or value.
    Bars(Bars),
    /// Readings over time.
    Course(Course),
}

/// An axis, or what stands in the cells.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Axis {
    /// The name in the sequence.
    pub name: String,
    /// What is printed.
    pub says: String,
    /// The unit of its numbers; empty for a pure number.
    pub unit: String,
}

/// What was read at one place, in the unit of the picture.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Spot {
    /// Sequence number of the reading in the journal.
    pub seq: u64,
    /// The value; `None` where there is none.
    pub value: Option<f64>,
    /// Expanded uncertainty (k = 2); `None` where it is not known.
    pub expanded: Option<f64>,
    /// The value as a row prints it, or why there is none.
    pub text: String,
    /// The narrowest bounds that it was judged by.
    pub low: Option<f64>,
    /// See `low`.
    pub high: Option<f64>,
    /// The worst verdict; `None` where nobody judged it.
    pub verdict: Option<Verdict>,
}

/// One reading over two names.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Field {
    /// What stands in the cells.
    pub of: Axis,
    /// To the right.
    pub across: Axis,
    /// Upwards.
    pub up: Axis,
    /// Values to the right, rising.
    pub columns: Vec<f64>,
    /// Values upwards, rising.
    pub rows: Vec<f64>,
    /// The cells that were reached, row by row.
    pub cells: Vec<Cell>,
    /// The lowest and the highest spot of all maps of this picture, where there is any: one shade means one value on all of them.
    pub span: Option<Box<(Spot, Spot)>>,
}

/// One cell.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cell {
    /// Index among the columns.
    pub column: usize,
    /// Index among the rows.
    pub row: usize,
    /// So many readings stand behind it; the one nearest to its bound, or farthest outside, is shown.
    pub times: usize,
    /// That reading.
    pub spot: Spot,
}

/// Readings over one name.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Ladder {
    /// To the right.
    pub across: Axis,
    /// The unit upwards.
    pub unit: String,
    /// One for each reading, and for each combination of the other names.
    pub series: Vec<Series>,
    /// What they should follow.
    pub rule: Option<RuleLine>,
}

/// One reading over the values of a name.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Series {
    /// What is printed.
    pub says: String,
    /// Value of the name, and what was read there, in the order of the run.
    pub points: Vec<(f64, Spot)>,
}

/// A rule as a line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RuleLine {
    /// As it was written.
    pub says: String,
    /// Its points, rising.
    pub points: Vec<(f64, f64)>,
}

/// A bar for each reading or value.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Bars {
    /// What is printed at the axis of lengths.
    pub says: String,
    /// The unit of lengths.
    pub unit: String,
    /// What the bars are counted by; empty where their names say it.
    pub along: String,
    /// Whether equal ratios are equal lengths.
    pub logarithmic: bool,
    /// In order.
    pub bars: Vec<Bar>,
}

/// One bar.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Bar {
    /// What stands below it.
    pub label: String,
    /// What it is.
    pub spot: Spot,
}

/// Readings over time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Course {
    /// When the time of the picture begins, in seconds since the start of the run.
    pub begin_s: f64,
    /// One for each unit, below each other.
    pub panels: Vec<Panel>,
}

/// Lines of one unit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Panel {
    /// The unit.
    pub unit: String,
    /// Its lines.
    pub lines: Vec<Line>,
    /// Bounds that judged them.
    pub bounds: Vec<f64>,
}

/// One reading, taken again and again.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Line {
    /// What is printed.
    pub says: String,
    /// Uninterrupted pieces: one for each pass.
    pub pieces: Vec<Vec<Moment>>,
}

/// One reading of a course.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Moment {
    /// When, in seconds since the beginning of the picture.
    pub at_s: f64,
    /// The value.
    pub value: f64,
    /// Expanded uncertainty (k = 2); `None` where it is not known.
    pub expanded: Option<f64>,
}

/// A capture, thinned out for a plot.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plot {
    /// Name in the sequence.
    pub name: String,
    /// What the plot shows, in words.
    pub title: String,
    /// Index of its step.
    pub step: u32,
    /// Id of its step.
    pub id: String,
    /// Which pass.
    pub pass: Option<String>,
    /// What it is good for.
    pub kind: PlotKind,
    /// Whether the sequence asks for it.
    pub asked: bool,
    /// Its channels.
    pub channels: Vec<Trace>,
    /// Events to mark: seconds since the first sample of the capture, and a label.
    pub events: Vec<(f64, String)>,
    /// File below `captures/`.
    pub file: String,
    /// SHA-256 of the file.
    pub sha256: String,
}

/// What a plot is good for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PlotKind {
    /// One or two periods of the pilot.
    PilotWaveform,
    /// A whole capture over several channels, with events marked.
    Timing,
}

/// One channel of a plot.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Trace {
    /// The point.
    pub point: String,
    /// Unit of the values.
    pub unit: String,
    /// Time of each point in seconds since the first sample of the capture, lowest and highest value around it.
    pub points: Vec<(f64, f64, f64)>,
}

/// A name with its unit, as it stands at an axis: `i_load / A`.
pub fn with_unit(says: &str, unit: &str) -> String {
    match (says, unit) {
        (says, "") => says.to_owned(),
        ("", unit) => unit.to_owned(),
        (says, unit) => format!("{says} / {unit}"),
    }
}

/// A number as it stands at an axis or below a bar.
pub fn label(number: f64) -> String {
    if number != 0.0 && !(1e-5..1e9).contains(&number.abs()) {
        return format!("{number:e}");
    }
    let text = format!("{number:.6}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}
