//! Defects × steps as SVG. A full square: noticed in every rehearsal; a part of it filled from below: in so many; a ring: the
//! step that claims the defect. Black on white, so that it prints.

use super::table::{Row, TWIN, Table};
use crate::wiring::setup::severity_word;
use std::collections::BTreeMap;
use std::fmt::Write;

const CELL: usize = 16;
const LEFT: usize = 330;
const TOP: usize = 70;

/// The picture.
pub fn svg(table: &Table) -> String {
    let (width, height) = (
        LEFT + CELL * table.steps.len() + 20,
        TOP + CELL * (table.rows.len() + 1) + 50,
    );
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" font-family=\"sans-serif\" font-size=\"10\">\n\
         <rect width=\"100%\" height=\"100%\" fill=\"white\"/>\n"
    );
    for (column, step) in table.steps.iter().enumerate() {
        let (x, y) = (LEFT + CELL * column + 11, TOP - 6);
        text(&mut out, x, y, step, &format!(" transform=\"rotate(-60 {x} {y})\""));
    }
    draw(&mut out, table, &Drawn::twin(table), TOP);
    for (line, row) in table.rows.iter().enumerate() {
        draw(&mut out, table, &Drawn::of(row), TOP + CELL * (line + 1));
    }
    let legend = "full: noticed in every rehearsal · part: in some · ring: the step that claims it · virtual bench, no item was tested";
    text(&mut out, 8, height - 14, legend, "");
    out.push_str("</svg>\n");
    out
}

/// One row of the picture.
struct Drawn<'a> {
    label: String,
    trials: u64,
    by_step: &'a BTreeMap<String, u64>,
    claimed: Option<&'a String>,
}

impl<'a> Drawn<'a> {
    fn of(row: &'a Row) -> Self {
        Self {
            label: format!("{} {} · {}", row.id, severity_word(row.severity), row.title),
            trials: row.trials,
            by_step: &row.by_step,
            claimed: row.claimed.as_ref(),
        }
    }

    fn twin(table: &'a Table) -> Self {
        Self {
            label: TWIN.to_owned(),
            trials: table.twin.trials,
            by_step: &table.twin.by_step,
            claimed: None,
        }
    }
}

fn draw(out: &mut String, table: &Table, row: &Drawn<'_>, top: usize) {
    text(out, 8, top + 12, &row.label, "");
    for (column, step) in table.steps.iter().enumerate() {
        let left = LEFT + CELL * column;
        let share = row.by_step.get(step).copied().unwrap_or(0) as f64 / row.trials.max(1) as f64;
        let filled = share * (CELL - 4) as f64;
        let bottom = (top + CELL - 2) as f64;
        rectangle(
            out,
            (left + 2) as f64,
            (top + 2) as f64,
            (CELL - 4) as f64,
            "fill=\"none\" stroke=\"#ccc\"",
        );
        if filled > 0.0 {
            let style = format!("fill=\"#222\" height=\"{filled:.1}\"");
            let _infallible = writeln!(
                out,
                "<rect x=\"{}\" y=\"{:.1}\" width=\"{}\" {style}/>",
                left + 2,
                bottom - filled,
                CELL - 4
            );
        }
        if row.claimed == Some(step) {
            rectangle(
                out,
                left as f64 + 0.5,
                top as f64 + 0.5,
                (CELL - 1) as f64,
                "fill=\"none\" stroke=\"#b00\" stroke-width=\"1.5\"",
            );
        }
    }
}

fn rectangle(out: &mut String, x: f64, y: f64, side: f64, style: &str) {
    let _infallible = writeln!(
        out,
        "<rect x=\"{x}\" y=\"{y}\" width=\"{side}\" height=\"{side}\" {style}/>"
    );
}

fn text(out: &mut String, x: usize, y: usize, text: &str, attributes: &str) {
    let safe = pilotage_reports::text::for_xml(text)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;");
    let _infallible = writeln!(out, "<text x=\"{x}\" y=\"{y}\"{attributes}>{safe}</text>");
}
