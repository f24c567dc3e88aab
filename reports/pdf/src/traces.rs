//! Captures as drawings: curves in SVG, grid lines and events as fractions of the plot.
//!
//! A curve of a thousand points is handed over as one path: the typesetter would take a hundred times as long with a shape
//! for each.

use crate::scale::{Span, ticks};
use crate::sketch::CURVE;
use pilotage_evidence::document::{Plot, PlotKind, Trace};
use serde::Serialize;
use std::fmt::Write;

/// Width of a plot that has the whole line, in points.
const WIDE_PT: f64 = 440.0;
/// Width of a plot that shares its line with another, in points.
const HALF_PT: f64 = 200.0;
/// Width of a character of an event's name, in points.
const LETTER_PT: f64 = 3.3;

/// One plot.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Figure {
    id: String,
    title: String,
    pass: Option<String>,
    file: String,
    wide: bool,
    asked: bool,
    width_pt: f64,
    ticks: Vec<(f64, String)>,
    events: Vec<Mark>,
    lanes: usize,
    curves: Vec<Curve>,
}

/// One event on a plot.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Mark {
    at: f64,
    name: String,
    lane: usize,
    /// Its name stands to the left of its line.
    left: bool,
}

/// One channel.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Curve {
    label: String,
    height_pt: f64,
    ticks: Vec<(f64, String)>,
    svg: String,
}

/// The figure of a plot; `None` where it has nothing to draw.
pub(crate) fn figure(plot: &Plot) -> Option<Figure> {
    let wide = plot.kind == PlotKind::Timing;
    let (width_pt, height_pt) = if wide { (WIDE_PT, 62.0) } else { (HALF_PT, 84.0) };
    let times = || {
        plot.channels
            .iter()
            .flat_map(|channel| channel.points.iter().map(|point| point.0))
    };
    let span = Span {
        from: times().fold(f64::INFINITY, f64::min),
        to: times().fold(f64::NEG_INFINITY, f64::max),
    };
    if span.to <= span.from || !span.width().is_finite() {
        return None;
    }
    let events = marks(plot, &span, width_pt);
    Some(Figure {
        id: plot.id.clone(),
        title: plot.title.clone(),
        pass: plot.pass.clone(),
        file: plot.file.clone(),
        wide,
        asked: plot.asked,
        width_pt,
        ticks: ticks(&span, if wide { 8 } else { 5 }, 1e3, " ms"),
        lanes: events.iter().map(|event| event.lane + 1).max().unwrap_or(0),
        events,
        curves: plot
            .channels
            .iter()
            .filter_map(|channel| curve(channel, &span, width_pt, height_pt))
            .collect(),
    })
}

/// Events in as many lanes as keep their names apart.
fn marks(plot: &Plot, span: &Span, width_pt: f64) -> Vec<Mark> {
    let mut lanes: Vec<Vec<(f64, f64)>> = Vec::new();
    let inside = plot.events.iter().filter(|(at, _)| *at >= span.from && *at <= span.to);
    inside
        .map(|(at_s, name)| {
            let at = span.at(*at_s);
            let name = format!("{name}, {}", milliseconds(*at_s));
            let length = name.chars().count() as f64 * LETTER_PT + 4.0;
            let left = at * width_pt + length > width_pt;
            let taken = if left {
                (at * width_pt - length, at * width_pt)
            } else {
                (at * width_pt, at * width_pt + length)
            };
            let free = |lane: &Vec<(f64, f64)>| lane.iter().all(|other| taken.1 <= other.0 || taken.0 >= other.1);
            let lane = lanes.iter().position(free).unwrap_or(lanes.len());
            if lane == lanes.len() {
                lanes.push(Vec::new());
            }
            lanes[lane].push(taken);
            Mark { at, name, lane, left }
        })
        .collect()
}

fn milliseconds(seconds: f64) -> String {
    format!("{:.1} ms", seconds * 1e3)
}

fn curve(trace: &Trace, times: &Span, width_pt: f64, height_pt: f64) -> Option<Curve> {
    let low = trace.points.iter().map(|point| point.1).fold(f64::INFINITY, f64::min);
    let high = trace
        .points
        .iter()
        .map(|point| point.2)
        .fold(f64::NEG_INFINITY, f64::max);
    if trace.points.len() < 2 || !(high - low).is_finite() {
        return None;
    }
    let pad = if high > low { 0.08 * (high - low) } else { 1.0 };
    let values = Span {
        from: low - pad,
        to: high + pad,
    };
    Some(Curve {
        label: format!("{} / {}", trace.point, trace.unit),
        height_pt,
        ticks: ticks(&values, if height_pt > 70.0 { 5 } else { 3 }, 1.0, ""),
        svg: svg(trace, times, &values, width_pt, height_pt),
    })
}

/// The curve as an image: one line where every point is one sample, a filled band where it stands for several.
fn svg(trace: &Trace, times: &Span, values: &Span, width_pt: f64, height_pt: f64) -> String {
    let single = trace
        .points
        .iter()
        .all(|point| (point.2 - point.1).abs() < f64::EPSILON);
    let place = |at_s: f64, value: f64| (times.at(at_s) * width_pt, (1.0 - values.at(value)) * height_pt);
    let upper = trace.points.iter().map(|point| place(point.0, point.2));
    let lower = trace.points.iter().rev().map(|point| place(point.0, point.1));
    let mut path = String::with_capacity(trace.points.len() * 28);
    let mut draw = |(x, y): (f64, f64)| {
        let command = if path.is_empty() { 'M' } else { 'L' };
        let _ = write!(path, "{command}{x:.2} {y:.2}");
    };
    let style = if single {
        upper.for_each(&mut draw);
        "fill=\"none\" stroke-width=\"0.9\"".to_owned()
    } else {
        upper.chain(lower).for_each(&mut draw);
        format!("fill=\"{CURVE}\" stroke-width=\"0.5\"")
    };
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width_pt}pt\" height=\"{height_pt}pt\" viewBox=\"0 0 {width_pt} {height_pt}\">\
         <path {style} stroke=\"{CURVE}\" stroke-linejoin=\"round\" d=\"{path}\"/></svg>"
    )
}
