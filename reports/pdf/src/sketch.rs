//! A drawing: lines and areas as one image, texts and verdict marks apart from it, so that texts stay texts and marks are those
//! of the whole report.

use crate::printable::printable;
use pilotage_evidence::Verdict;
use serde::Serialize;
use std::fmt::Write;

/// Ink, as in the template.
const INK: &str = "#1b2430";
/// Curves.
pub(crate) const CURVE: &str = "#1f3d66";
/// Grid lines.
const GRID: &str = "#c9ced6";
/// What is allowed.
pub(crate) const ALLOWED: &str = "#e6ebe8";

/// Size of texts at axes, in points.
pub(crate) const SMALL: f64 = 6.5;
/// Width of a character of a small text, in points, generously.
pub(crate) const LETTER: f64 = 3.7;

/// A drawing in points, from its upper left corner.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Sketch {
    width_pt: f64,
    height_pt: f64,
    svg: String,
    texts: Vec<Text>,
    marks: Vec<Mark>,
}

/// A text in a box, one line high unless it breaks.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Text {
    x: f64,
    y: f64,
    width: f64,
    align: &'static str,
    bold: bool,
    says: String,
}

/// A verdict mark around its middle.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Mark {
    x: f64,
    y: f64,
    size: f64,
    verdict: Verdict,
}

/// How a line is drawn. Lines are told apart in black and white too.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Stroke {
    /// Thin and pale.
    Grid,
    /// Around a plot.
    Frame,
    /// A curve or a whisker.
    Curve,
    /// A second curve.
    Dashed,
    /// A third one.
    Dotted,
    /// A bound.
    Bound,
    /// A rule.
    Rule,
}

impl Stroke {
    fn style(self) -> (&'static str, f64, &'static str) {
        match self {
            Self::Grid => (GRID, 0.3, ""),
            Self::Frame => (INK, 0.5, ""),
            Self::Curve => (CURVE, 0.9, ""),
            Self::Dashed => (CURVE, 0.9, "4 2"),
            Self::Dotted => (CURVE, 0.9, "1.2 1.6"),
            Self::Bound => (INK, 1.4, ""),
            Self::Rule => (INK, 0.8, "6 2 1.2 2"),
        }
    }
}

impl Sketch {
    pub(crate) fn new(width_pt: f64, height_pt: f64) -> Self {
        Self {
            width_pt,
            height_pt,
            svg: format!(
                "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width_pt}pt\" height=\"{height_pt}pt\" viewBox=\"0 0 {width_pt} {height_pt}\">"
            ),
            texts: Vec::new(),
            marks: Vec::new(),
        }
    }

    /// Ends the image.
    pub(crate) fn done(mut self) -> Self {
        self.svg.push_str("</svg>");
        self
    }

    /// A line through points.
    pub(crate) fn line(&mut self, points: impl IntoIterator<Item = (f64, f64)>, stroke: Stroke) {
        let (colour, width, dash) = stroke.style();
        let path = path_of(points);
        if path.is_empty() {
            return;
        }
        let dash = if dash.is_empty() {
            String::new()
        } else {
            format!(" stroke-dasharray=\"{dash}\"")
        };
        let _ = write!(
            self.svg,
            "<path fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\"{dash} stroke-linejoin=\"round\" d=\"{path}\"/>"
        );
    }

    /// A filled area without a border.
    pub(crate) fn area(&mut self, points: impl IntoIterator<Item = (f64, f64)>, fill: &str) {
        let path = path_of(points);
        let _ = write!(self.svg, "<path fill=\"{fill}\" d=\"{path}Z\"/>");
    }

    /// A rectangle.
    pub(crate) fn rectangle(&mut self, (x, y, width, height): (f64, f64, f64, f64), fill: &str, border: f64) {
        let _ = write!(
            self.svg,
            "<rect x=\"{x:.2}\" y=\"{y:.2}\" width=\"{width:.2}\" height=\"{height:.2}\" fill=\"{fill}\" stroke=\"{INK}\" stroke-width=\"{border}\"/>"
        );
    }

    /// A small symbol that tells a series from the others: disc, square, triangle, diamond, ring, box.
    pub(crate) fn symbol(&mut self, number: usize, (x, y): (f64, f64)) {
        let r = 2.4;
        let _ = match number % 6 {
            0 => write!(
                self.svg,
                "<circle cx=\"{x:.2}\" cy=\"{y:.2}\" r=\"{r}\" fill=\"{CURVE}\"/>"
            ),
            1 => write!(
                self.svg,
                "<rect x=\"{:.2}\" y=\"{:.2}\" width=\"{}\" height=\"{}\" fill=\"white\" stroke=\"{CURVE}\"/>",
                x - r,
                y - r,
                2.0 * r,
                2.0 * r
            ),
            2 => write!(
                self.svg,
                "<path fill=\"{CURVE}\" d=\"M{x:.2} {:.2}L{:.2} {:.2}L{:.2} {:.2}Z\"/>",
                y - 1.2 * r,
                x + 1.2 * r,
                y + r,
                x - 1.2 * r,
                y + r
            ),
            3 => write!(
                self.svg,
                "<path fill=\"white\" stroke=\"{CURVE}\" d=\"M{x:.2} {:.2}L{:.2} {y:.2}L{x:.2} {:.2}L{:.2} {y:.2}Z\"/>",
                y - 1.3 * r,
                x + 1.3 * r,
                y + 1.3 * r,
                x - 1.3 * r
            ),
            4 => write!(
                self.svg,
                "<circle cx=\"{x:.2}\" cy=\"{y:.2}\" r=\"{r}\" fill=\"white\" stroke=\"{CURVE}\"/>"
            ),
            _ => write!(
                self.svg,
                "<rect x=\"{:.2}\" y=\"{:.2}\" width=\"{}\" height=\"{}\" fill=\"{CURVE}\"/>",
                x - r,
                y - r,
                2.0 * r,
                2.0 * r
            ),
        };
    }

    /// A point of a curve.
    pub(crate) fn dot(&mut self, (x, y): (f64, f64)) {
        let _ = write!(
            self.svg,
            "<circle cx=\"{x:.2}\" cy=\"{y:.2}\" r=\"1.3\" fill=\"{CURVE}\"/>"
        );
    }

    /// An uncertainty: a line with ends where they are apart enough to be seen.
    pub(crate) fn whisker(&mut self, x: f64, (low, high): (f64, f64)) {
        self.line([(x, low), (x, high)], Stroke::Curve);
        if (high - low).abs() > 5.0 {
            for y in [low, high] {
                self.line([(x - 2.0, y), (x + 2.0, y)], Stroke::Curve);
            }
        }
    }

    /// A text whose box begins at `x`, is `width` wide, and has its upper edge at `y`.
    pub(crate) fn text(&mut self, (x, y): (f64, f64), width: f64, align: &'static str, text: &str) {
        self.put(x, y, (width, align, false), text);
    }

    /// A text around a middle.
    pub(crate) fn centred(&mut self, (x, y): (f64, f64), width: f64, text: &str) {
        self.put(x - width / 2.0, y, (width, "center", false), text);
    }

    /// A bold one at the left.
    pub(crate) fn bold(&mut self, (x, y): (f64, f64), width: f64, text: &str) {
        self.put(x, y, (width, "left", true), text);
    }

    fn put(&mut self, x: f64, y: f64, (width, align, bold): (f64, &'static str, bool), text: &str) {
        if !(x.is_finite() && y.is_finite() && width.is_finite()) {
            return;
        }
        self.texts.push(Text {
            x,
            y,
            width,
            align,
            bold,
            says: printable(text),
        });
    }

    /// A verdict mark.
    pub(crate) fn mark(&mut self, (x, y): (f64, f64), size: f64, verdict: Verdict) {
        if x.is_finite() && y.is_finite() {
            self.marks.push(Mark { x, y, size, verdict });
        }
    }
}

/// Points without a place are left out.
fn path_of(points: impl IntoIterator<Item = (f64, f64)>) -> String {
    let mut path = String::new();
    for (x, y) in points.into_iter().filter(|(x, y)| x.is_finite() && y.is_finite()) {
        let command = if path.is_empty() { 'M' } else { 'L' };
        let _ = write!(path, "{command}{x:.2} {y:.2}");
    }
    path
}

/// Width of a text, as far as it can be guessed.
pub(crate) fn width_of(text: &str) -> f64 {
    text.chars().count() as f64 * LETTER
}
