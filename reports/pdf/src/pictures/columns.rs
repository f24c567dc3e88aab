//! Bars with their bounds as marks, on a linear or a logarithmic scale.

use super::{HALF_PT, LEFT_PT, WIDE_PT};
use crate::scale::{Span, ticks};
use crate::sketch::{SMALL, Sketch, Stroke, width_of};
use pilotage_evidence::Verdict;
use pilotage_evidence::document::picture::{Bar, Bars, Spot, with_unit};

/// Height of the plot, in points.
const PLOT_PT: f64 = 112.0;
/// Room above for the title, and below for labels.
const TOP_PT: f64 = 11.0;
/// Height of a line of labels.
const LINE_PT: f64 = 8.5;
/// More bars want the whole line.
const HALF_BARS: usize = 10;
/// A bar is not drawn wider, in points.
const WIDEST_PT: f64 = 26.0;

/// Where lengths begin and how they grow.
enum Lengths {
    Linear(Span),
    /// Powers of ten.
    Logarithmic(Span),
}

impl Lengths {
    fn of(bars: &Bars) -> Option<Self> {
        let values = || {
            bars.bars.iter().flat_map(|bar| {
                let spot = &bar.spot;
                let top = spot.value.map(|value| value + spot.expanded.unwrap_or(0.0));
                spot.value.into_iter().chain(top).chain(spot.low).chain(spot.high)
            })
        };
        if bars.logarithmic {
            let powers = values().filter(|value| *value > 0.0).map(f64::log10);
            let span = Span::of(powers, 0.01)?;
            // Whole powers of ten, and never more than five: what is smaller is as good as nothing.
            let to = span.to.ceil().max(span.from.floor() + 1.0);
            return Some(Self::Logarithmic(Span {
                from: span.from.floor().max(to - 5.0),
                to,
            }));
        }
        let span = Span::of(values().chain([0.0]), 0.0)?;
        let room = 0.1 * span.width();
        Some(Self::Linear(Span {
            from: if span.from < 0.0 { span.from - room } else { 0.0 },
            to: if span.to > 0.0 { span.to + room } else { 0.0 },
        }))
    }

    fn at(&self, value: f64) -> f64 {
        match self {
            Self::Linear(span) => span.at(value).clamp(0.0, 1.0),
            Self::Logarithmic(_) if value <= 0.0 => 0.0,
            Self::Logarithmic(span) => span.at(value.log10()).clamp(0.0, 1.0),
        }
    }

    fn ticks(&self) -> Vec<(f64, String)> {
        match self {
            Self::Linear(span) => ticks(span, 5, 1.0, ""),
            Self::Logarithmic(span) => (span.from as i32..=span.to as i32)
                .map(|power| {
                    let decimals = usize::try_from(-power).unwrap_or(0);
                    let figure = match power {
                        -4..=5 => format!("{:.decimals$}", 10f64.powi(power)),
                        _ => format!("1e{power}"),
                    };
                    (span.at(f64::from(power)), figure)
                })
                .collect(),
        }
    }
}

pub(super) fn sketch(bars: &Bars) -> Option<(bool, Sketch)> {
    let lengths = Lengths::of(bars)?;
    let wide = bars.bars.len() > HALF_BARS;
    let width = if wide { WIDE_PT } else { HALF_PT };
    let slot = (width - LEFT_PT - 4.0) / bars.bars.len() as f64;
    let lines = bars
        .bars
        .iter()
        .map(|bar| (width_of(&bar.label) / slot).ceil().clamp(1.0, 3.0))
        .fold(1.0, f64::max);
    let bottom = TOP_PT + PLOT_PT;
    let along = if bars.along.is_empty() { 0.0 } else { 10.0 };
    let figures = if has_figures(slot) { LINE_PT } else { 0.0 };
    let below = bottom + 3.5 + LINE_PT * lines;
    let mut out = Sketch::new(width, below + 0.5 + figures + along);
    let y = |value: f64| TOP_PT + PLOT_PT * (1.0 - lengths.at(value));
    let right = LEFT_PT + slot * bars.bars.len() as f64;
    for (at, figure) in lengths.ticks() {
        let level = TOP_PT + PLOT_PT * (1.0 - at);
        out.line([(LEFT_PT, level), (right, level)], Stroke::Grid);
        out.text((0.0, level - SMALL / 2.0), LEFT_PT - 3.0, "right", &figure);
    }
    for (index, bar) in bars.bars.iter().enumerate() {
        draw_bar(&mut out, bar, (LEFT_PT + slot * (index as f64 + 0.5), slot), &y);
        // Where they would touch, every other one is left out.
        if slot >= width_of(&bar.label) || lines > 1.0 || index % 2 == 0 {
            out.centred(
                (LEFT_PT + slot * (index as f64 + 0.5), bottom + 2.5),
                slot.max(14.0),
                &bar.label,
            );
        }
        if has_figures(slot) {
            figure(
                &mut out,
                &bar.spot,
                (LEFT_PT + slot * (index as f64 + 0.5), slot, below - 1.0),
            );
        }
    }
    let base = if bars.logarithmic { bottom } else { y(0.0) };
    out.line([(LEFT_PT, base), (right, base)], Stroke::Frame);
    out.line([(LEFT_PT, TOP_PT), (LEFT_PT, bottom)], Stroke::Frame);
    out.bold((0.0, 0.0), width, &with_unit(&bars.says, &bars.unit));
    if !bars.along.is_empty() {
        out.centred(
            (f64::midpoint(LEFT_PT, right), below + figures),
            right - LEFT_PT,
            &bars.along,
        );
    }
    Some((wide, out))
}

fn draw_bar(out: &mut Sketch, bar: &Bar, (middle, slot): (f64, f64), y: &impl Fn(f64) -> f64) {
    let half = (0.32 * slot).min(WIDEST_PT / 2.0);
    let spot = &bar.spot;
    let bad = spot.verdict.is_some_and(|verdict| verdict != Verdict::Pass);
    let base = y(0.0);
    let mut top = base;
    if let Some(value) = spot.value {
        top = y(value);
        let (from, to) = (top.min(base), top.max(base));
        let fill = if bad { "#5d6b80" } else { "#b9c8dc" };
        out.rectangle((middle - half, from, 2.0 * half, (to - from).max(0.3)), fill, 0.4);
        if let Some(wide) = spot.expanded.filter(|wide| *wide > 0.0) {
            let (low, high) = (y(value - wide), y(value + wide));
            if (low - high).abs() > 1.5 {
                out.whisker(middle, (low, high));
            }
            top = top.min(high);
        }
    }
    let reach = (0.46 * slot).min(WIDEST_PT / 2.0 + 4.0);
    for bound in spot.low.iter().chain(&spot.high) {
        out.line(
            [(middle - reach, y(*bound)), (middle + reach, y(*bound))],
            Stroke::Bound,
        );
    }
    // Where there is room the mark stands with the number below; else a bar that is not a pass has it above.
    if let Some(verdict) = spot.verdict.filter(|_| bad && !has_figures(slot)) {
        let size = (0.7 * slot).min(5.5);
        let highest = spot.high.map_or(top, |high| top.min(y(high)));
        out.mark((middle, (highest - size).max(size / 2.0)), size, verdict);
    }
}

/// Whether the numbers themselves fit below the bars.
fn has_figures(slot: f64) -> bool {
    slot >= 34.0
}

/// The number below a bar, with its verdict.
fn figure(out: &mut Sketch, spot: &Spot, (middle, slot, y): (f64, f64, f64)) {
    let value = if spot.value.is_some() {
        spot.text.as_str()
    } else {
        "–"
    };
    let room = if spot.verdict.is_some() { 7.0 } else { 0.0 };
    out.centred((middle + room / 2.0, y), slot.max(width_of(value)), value);
    if let Some(verdict) = spot.verdict {
        let left = middle + room / 2.0 - width_of(value) * 0.46;
        out.mark((left - 5.0, y + SMALL / 2.0 - 0.3), 4.6, verdict);
    }
}
