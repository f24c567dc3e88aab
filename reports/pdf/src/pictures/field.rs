//! A map: a field of cells, darker where the value is higher, with the number and the verdict mark in each.

use super::{HALF_PT, LEFT_PT, WIDE_PT};
use crate::sketch::{SMALL, Sketch};
use pilotage_evidence::Verdict;
use pilotage_evidence::document::picture::{Cell, Field, Spot, label, with_unit};

/// Height of a cell, in points.
const CELL_PT: f64 = 22.0;
/// A cell is not drawn wider, in points.
const WIDEST_PT: f64 = 62.0;
/// Narrower cells do not hold their number, in points.
const NARROWEST_PT: f64 = 34.0;
/// Room for both ends of the key.
const KEY_PT: f64 = 72.0;
/// Room for the title above, and for figures and title below.
const ABOVE_PT: f64 = 11.0;
const BELOW_PT: f64 = 21.0;

pub(super) fn sketch(map: &Field) -> Option<(bool, Sketch)> {
    if map.cells.is_empty() {
        return None;
    }
    let count = map.columns.len() as f64;
    let wide = count * NARROWEST_PT > HALF_PT - LEFT_PT;
    let width = if wide { WIDE_PT } else { HALF_PT };
    let cell = ((width - LEFT_PT - 1.0) / count).min(WIDEST_PT);
    let field_height = CELL_PT * map.rows.len() as f64;
    let mut out = Sketch::new(width, ABOVE_PT + field_height + BELOW_PT);
    let ends = map.span.as_ref().and_then(|span| span.0.value.zip(span.1.value));
    let share = |value: f64| match ends {
        Some((low, high)) if high > low => (value - low) / (high - low),
        _ => 0.5,
    };
    let corner = |cell_at: &Cell| {
        let x = LEFT_PT + cell * cell_at.column as f64;
        // The lowest row stands below.
        let y = ABOVE_PT + CELL_PT * (map.rows.len() - 1 - cell_at.row) as f64;
        (x, y)
    };
    for one in &map.cells {
        let (x, y) = corner(one);
        let bad = one.spot.verdict.is_some_and(|verdict| verdict != Verdict::Pass);
        let fill = one
            .spot
            .value
            .map_or_else(|| "white".to_owned(), |value| shade(share(value)));
        // A cell that is not a pass has a thick border: it is found at once, also on a copy.
        let (inset, border) = if bad { (0.8, 1.6) } else { (0.0, 0.4) };
        out.rectangle(
            (x + inset, y + inset, cell - 2.0 * inset, CELL_PT - 2.0 * inset),
            &fill,
            border,
        );
        out.centred((x + cell / 2.0, y + 10.0), cell, &number(&one.spot, &map.of.unit));
        if let Some(verdict) = one.spot.verdict {
            out.mark((x + 6.5, y + 6.0), 5.0, verdict);
        }
        if one.times > 1 {
            out.text((x, y + 2.5), cell - 3.0, "right", &format!("×{}", one.times));
        }
    }
    for (index, row) in map.rows.iter().enumerate() {
        let y = ABOVE_PT + CELL_PT * (map.rows.len() - 1 - index) as f64;
        out.text((0.0, y + (CELL_PT - SMALL) / 2.0), LEFT_PT - 4.0, "right", &label(*row));
    }
    for (index, column) in map.columns.iter().enumerate() {
        out.centred(
            (LEFT_PT + cell * (index as f64 + 0.5), ABOVE_PT + field_height + 2.5),
            cell,
            &label(*column),
        );
    }
    out.bold((0.0, 0.0), width / 2.0, &with_unit(&map.up.says, &map.up.unit));
    let right = LEFT_PT + cell * count - key(&mut out, map, LEFT_PT + cell * count);
    let title = with_unit(&map.of.says, &map.of.unit);
    out.text((width / 2.0, 0.0), right - width / 2.0, "right", &title);
    out.centred(
        (LEFT_PT + cell * count / 2.0, ABOVE_PT + field_height + 12.0),
        cell * count,
        &with_unit(&map.across.says, &map.across.unit),
    );
    Some((wide, out))
}

/// The lightest and the darkest shade with the values that they stand for, at the right end above the field; says how much room they take.
fn key(out: &mut Sketch, map: &Field, right: f64) -> f64 {
    let Some((low, high)) = map.span.as_deref() else {
        return 0.0;
    };
    for (end, share, x) in [(low, 0.0, right - KEY_PT), (high, 1.0, right - KEY_PT / 2.0)] {
        out.rectangle((x + 4.0, 1.5, 5.0, 5.0), &shade(share), 0.4);
        out.text((x + 11.0, 0.0), KEY_PT / 2.0 - 11.0, "left", &number(end, &map.of.unit));
    }
    KEY_PT
}

/// From nearly white to a blue on which black is still read.
fn shade(share: f64) -> String {
    let mix = |light: f64, dark: f64| (light + (dark - light) * share.clamp(0.0, 1.0)).round() as u8;
    format!(
        "#{:02x}{:02x}{:02x}",
        mix(247.0, 150.0),
        mix(249.0, 180.0),
        mix(252.0, 216.0)
    )
}

/// So many characters of a number fit.
const MOST_CHARACTERS: usize = 7;

/// The number of a spot without its unit. One with more digits than fit is rounded; the annex has them all.
fn number(spot: &Spot, unit: &str) -> String {
    let text = spot.text.strip_suffix(unit).unwrap_or(&spot.text).trim_end();
    match spot.value {
        None => "–".to_owned(),
        Some(value) if value != 0.0 && value.abs() < 1e-3 => format!("{value:.3e}"),
        Some(value) if text.chars().count() > MOST_CHARACTERS && value.abs() < 1e6 => {
            let before = value.abs().max(1.0).log10().floor() as usize;
            format!("{value:.*}", 5_usize.saturating_sub(before))
        }
        Some(_) => text.to_owned(),
    }
}
