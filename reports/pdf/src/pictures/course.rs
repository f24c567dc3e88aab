//! Readings over the time of a step: a panel for each unit, below each other on one time axis.

use super::{LEFT_PT, WIDE_PT};
use crate::scale::{Span, ticks};
use crate::sketch::{SMALL, Sketch, Stroke, width_of};
use pilotage_evidence::document::picture::{Course, Line, Moment, Panel, with_unit};

/// Height of a panel, in points.
const PANEL_PT: f64 = 74.0;
/// Room above a panel for its names.
const NAMES_PT: f64 = 14.0;
/// Room below for figures and unit of time.
const BELOW_PT: f64 = 20.0;
/// Fewer readings are drawn with their points.
const MOST_POINTS: usize = 80;

const STROKES: [Stroke; 3] = [Stroke::Curve, Stroke::Dashed, Stroke::Dotted];

pub(super) fn sketch(course: &Course) -> Option<(bool, Sketch)> {
    let moments = course
        .panels
        .iter()
        .flat_map(|panel| &panel.lines)
        .flat_map(|line| line.pieces.iter().flatten());
    let times = Span::of(moments.map(|moment| moment.at_s), 0.015)?;
    let height = (PANEL_PT + NAMES_PT) * course.panels.len() as f64;
    let mut out = Sketch::new(WIDE_PT, height + BELOW_PT);
    let width = WIDE_PT - LEFT_PT - 4.0;
    let (factor, unit) = time_unit(times.width());
    let figures = ticks(&times, 10, factor, "");
    for (index, panel) in course.panels.iter().enumerate() {
        let top = NAMES_PT + (PANEL_PT + NAMES_PT) * index as f64;
        for (at, _) in &figures {
            let x = LEFT_PT + width * at;
            out.line([(x, top), (x, top + PANEL_PT)], Stroke::Grid);
        }
        draw_panel(&mut out, panel, &times, (top, width));
    }
    for (at, figure) in &figures {
        out.centred((LEFT_PT + width * at, height + 2.0), 40.0, figure);
    }
    out.centred((LEFT_PT + width / 2.0, height + 11.0), width, unit);
    Some((true, out))
}

/// Seconds up to three minutes, minutes up to three hours.
fn time_unit(width_s: f64) -> (f64, &'static str) {
    match width_s {
        _ if width_s <= 180.0 => (1.0, "t / s"),
        _ if width_s <= 3.0 * 3600.0 => (1.0 / 60.0, "t / min"),
        _ => (1.0 / 3600.0, "t / h"),
    }
}

fn draw_panel(out: &mut Sketch, panel: &Panel, times: &Span, (top, width): (f64, f64)) {
    let moments = || panel.lines.iter().flat_map(|line| line.pieces.iter().flatten());
    let ends = |moment: &Moment| {
        let wide = moment.expanded.unwrap_or(0.0);
        [moment.value - wide, moment.value + wide]
    };
    let Some(reached) = Span::of(moments().flat_map(ends), 0.1) else {
        return;
    };
    // A bound that is far away would flatten the curve: its figure is said instead.
    let near = |bound: &&f64| **bound >= reached.from - reached.width() && **bound <= reached.to + reached.width();
    let with_bounds = moments()
        .flat_map(ends)
        .chain(panel.bounds.iter().filter(near).copied());
    let values = Span::of(with_bounds, 0.1).unwrap_or(reached);
    let place = |moment: &Moment, value: f64| {
        (
            LEFT_PT + width * times.at(moment.at_s),
            top + PANEL_PT * (1.0 - values.at(value)),
        )
    };
    for (at, figure) in ticks(&values, 4, 1.0, "") {
        let y = top + PANEL_PT * (1.0 - at);
        out.line([(LEFT_PT, y), (LEFT_PT + width, y)], Stroke::Grid);
        out.text((0.0, y - SMALL / 2.0), LEFT_PT - 3.0, "right", &figure);
    }
    let (right, bottom) = (LEFT_PT + width, top + PANEL_PT);
    let frame = [
        (LEFT_PT, top),
        (right, top),
        (right, bottom),
        (LEFT_PT, bottom),
        (LEFT_PT, top),
    ];
    out.line(frame, Stroke::Frame);
    for bound in panel.bounds.iter().filter(near) {
        let y = top + PANEL_PT * (1.0 - values.at(*bound));
        out.line([(LEFT_PT, y), (right, y)], Stroke::Bound);
    }
    let mut x = 0.0;
    for (number, line) in panel.lines.iter().enumerate() {
        draw_line(out, line, number, &place);
        let says = with_unit(&line.says, &panel.unit);
        if panel.lines.len() > 1 {
            let y = top - 10.0 + SMALL / 2.0;
            out.line([(x, y), (x + 16.0, y)], STROKES[number % STROKES.len()]);
            x += 19.0;
        }
        out.bold((x, top - 10.0), width_of(&says) + 20.0, &says);
        x += width_of(&says) + 26.0;
    }
}

fn draw_line(out: &mut Sketch, line: &Line, number: usize, place: &impl Fn(&Moment, f64) -> (f64, f64)) {
    let count: usize = line.pieces.iter().map(Vec::len).sum();
    for piece in &line.pieces {
        out.line(
            piece.iter().map(|moment| place(moment, moment.value)),
            STROKES[number % STROKES.len()],
        );
        if count > MOST_POINTS {
            continue;
        }
        for moment in piece {
            let (x, y) = place(moment, moment.value);
            if let Some(wide) = moment.expanded.filter(|wide| *wide > 0.0) {
                let (low, high) = (
                    place(moment, moment.value - wide).1,
                    place(moment, moment.value + wide).1,
                );
                if (low - high).abs() > 3.0 {
                    out.whisker(x, (low, high));
                }
            }
            out.dot((x, y));
        }
    }
}
