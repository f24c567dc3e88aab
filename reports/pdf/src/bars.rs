//! Honest bars: limit, readings and their uncertainty as fractions of the drawn width.

use pilotage_evidence::Verdict;
use pilotage_evidence::document::Row;
use serde::Serialize;

/// A reading so far outside its limit, in widths of the limit, is still drawn in its place; farther ones become an arrow.
const DRAWN_BEYOND: f64 = 1.5;

/// One bar. All places are fractions of its width.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Bar {
    /// Between the bounds.
    pub(crate) inside: (f64, f64),
    /// The bounds with their figures.
    pub(crate) bounds: Vec<(f64, String)>,
    /// The readings.
    pub(crate) dots: Vec<Dot>,
}

/// One reading on a bar.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Dot {
    /// Its place.
    pub(crate) at: f64,
    /// Ends of its expanded uncertainty.
    pub(crate) whisker: Option<(f64, f64)>,
    /// -1 or 1 where it lies left or right of what is drawn.
    pub(crate) beyond: i8,
    /// Outcome.
    pub(crate) verdict: Verdict,
}

struct Axis {
    from: f64,
    to: f64,
}

impl Axis {
    fn at(&self, value: f64) -> f64 {
        ((value - self.from) / (self.to - self.from)).clamp(0.0, 1.0)
    }
}

/// The bar of rows with one limit; `None` where there is no bound or no value.
pub(crate) fn bar(rows: &[&Row]) -> Option<Bar> {
    let first = rows.first()?;
    let (low, high) = (first.numbers.low, first.numbers.high);
    let values: Vec<f64> = rows.iter().filter_map(|row| row.numbers.value).collect();
    if values.is_empty() {
        return None;
    }
    let axis = axis(low, high, &values)?;
    Some(Bar {
        inside: (
            low.map_or(0.0, |low| axis.at(low)),
            high.map_or(1.0, |high| axis.at(high)),
        ),
        bounds: bounds(first, &axis),
        dots: rows.iter().filter_map(|row| dot(row, &axis)).collect(),
    })
}

fn axis(low: Option<f64>, high: Option<f64>, values: &[f64]) -> Option<Axis> {
    let highest = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let lowest = values.iter().copied().fold(f64::INFINITY, f64::min);
    let (from, to, width) = match (low, high) {
        (Some(low), Some(high)) => {
            let width = if high > low { high - low } else { high.abs().max(1.0) };
            (low - 0.3 * width, high + 0.3 * width, width)
        }
        (None, Some(high)) => {
            let base = if high > 0.0 { 0.0 } else { 2.0 * high };
            let width = if high > base { high - base } else { 1.0 };
            (base - 0.06 * width, high + 0.35 * width, width)
        }
        (Some(low), None) => {
            let reach = highest.max(2.0 * low).max(low + low.abs()).max(low + f64::MIN_POSITIVE);
            // One reading far above a lower bound must not squeeze the bound into the edge.
            let width = (reach - low).min(3.0 * low.abs().max(f64::MIN_POSITIVE));
            (low - 0.35 * width, low + 1.15 * width, width)
        }
        (None, None) => return None,
    };
    let from = if lowest < from && lowest >= from - DRAWN_BEYOND * width {
        lowest - 0.12 * width
    } else {
        from
    };
    let to = if highest > to && highest <= to + DRAWN_BEYOND * width {
        highest + 0.12 * width
    } else {
        to
    };
    (to > from && (to - from).is_finite()).then_some(Axis { from, to })
}

fn bounds(row: &Row, axis: &Axis) -> Vec<(f64, String)> {
    let numbers = &row.numbers;
    match (numbers.low, numbers.high) {
        (Some(low), Some(high)) => {
            let (low_text, high_text) = row.limit.split_once(" … ").unwrap_or(("", &row.limit));
            vec![
                (axis.at(low), low_text.to_owned()),
                (axis.at(high), high_text.to_owned()),
            ]
        }
        (Some(bound), None) | (None, Some(bound)) => vec![(axis.at(bound), row.limit.clone())],
        (None, None) => Vec::new(),
    }
}

fn dot(row: &Row, axis: &Axis) -> Option<Dot> {
    let value = row.numbers.value?;
    let beyond = if value < axis.from {
        -1
    } else {
        i8::from(value > axis.to)
    };
    let whisker = row.numbers.expanded.filter(|expanded| *expanded > 0.0 && beyond == 0);
    Some(Dot {
        at: axis.at(value),
        whisker: whisker.map(|expanded| (axis.at(value - expanded), axis.at(value + expanded))),
        beyond,
        verdict: row.verdict,
    })
}
