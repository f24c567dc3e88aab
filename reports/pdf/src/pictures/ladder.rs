//! Readings over one name: points with their uncertainty, the allowed area, the rule as a line.

use super::{HALF_PT, LEFT_PT, WIDE_PT};
use crate::scale::{Span, ticks};
use crate::sketch::{ALLOWED, SMALL, Sketch, Stroke, width_of};
use pilotage_evidence::Verdict;
use pilotage_evidence::document::picture::{Ladder, Series, Spot, with_unit};

/// Height of the plot, in points.
const PLOT_PT: f64 = 112.0;
/// Room below for figures and title.
const BELOW_PT: f64 = 21.0;
/// Height of a line of the legend.
const LINE_PT: f64 = 9.0;
/// More points are drawn without a mark of their own where they pass.
const MOST_MARKS: usize = 60;
/// More points want the whole line.
const HALF_POINTS: usize = 24;

struct Plot<'p> {
    across: Span,
    up: Span,
    top: f64,
    width: f64,
    ladder: &'p Ladder,
}

impl Plot<'_> {
    fn x(&self, value: f64) -> f64 {
        LEFT_PT + self.width * self.across.at(value)
    }

    fn y(&self, value: f64) -> f64 {
        self.top + PLOT_PT * (1.0 - self.up.at(value).clamp(0.0, 1.0))
    }
}

pub(super) fn sketch(ladder: &Ladder) -> Option<(bool, Sketch)> {
    let points = || ladder.series.iter().flat_map(|series| &series.points);
    let wide = ladder.series.iter().any(|series| series.points.len() > HALF_POINTS);
    let width = if wide { WIDE_PT } else { HALF_PT };
    let across = Span::of(points().map(|(at, _)| *at), 0.05)?;
    let (low, high) = (across.from, across.to);
    let inside = |(at, y): &(f64, f64)| (*at >= low && *at <= high).then_some(*y);
    let rule = ladder
        .rule
        .iter()
        .flat_map(|rule| rule.points.iter().filter_map(inside));
    let heights: Vec<f64> = points().flat_map(|(_, spot)| extent(spot)).chain(rule).collect();
    let least = heights.iter().copied().fold(f64::INFINITY, f64::min);
    let up = Span::of(heights.iter().copied(), 0.08)?.with_zero(least);
    let lines = legend(ladder).len();
    let plot = Plot {
        across,
        up,
        top: 11.0 + LINE_PT * lines as f64,
        width: width - LEFT_PT - 6.0,
        ladder,
    };
    let mut out = Sketch::new(width, plot.top + PLOT_PT + BELOW_PT);
    allowed(&mut out, &plot);
    grid(&mut out, &plot, width);
    if let Some(rule) = &ladder.rule {
        let drawn = rule.points.iter().filter(|point| inside(point).is_some());
        out.line(drawn.map(|(x, y)| (plot.x(*x), plot.y(*y))), Stroke::Rule);
    }
    for (number, series) in ladder.series.iter().enumerate() {
        draw_series(&mut out, &plot, number, series);
    }
    write_legend(&mut out, ladder, width);
    Some((wide, out))
}

/// Value with its uncertainty, and bounds that are not far away.
fn extent(spot: &Spot) -> Vec<f64> {
    let Some(value) = spot.value else { return Vec::new() };
    let wide = spot.expanded.unwrap_or(0.0);
    let mut all = vec![value - wide, value + wide];
    all.extend(spot.low.into_iter().chain(spot.high));
    all
}

/// Between the bounds of neighbouring points; where several readings stand in one picture each point has its own. Between two
/// points a bound follows the rule, where there is one, as far from it as at the points.
fn allowed(out: &mut Sketch, plot: &Plot<'_>) {
    let [series] = plot.ladder.series.as_slice() else {
        return;
    };
    let mut points: Vec<&(f64, Spot)> = series
        .points
        .iter()
        .filter(|(at, spot)| at.is_finite() && (spot.low.is_some() || spot.high.is_some()))
        .collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    for pair in points.windows(2) {
        let ((x0, a), (x1, b)) = (pair[0], pair[1]);
        let upper = edge(plot, (*x0, a.high), (*x1, b.high), plot.up.to);
        let lower = edge(plot, (*x0, a.low), (*x1, b.low), plot.up.from);
        let around = upper.into_iter().chain(lower.into_iter().rev());
        out.area(around.map(|(x, y)| (plot.x(x), plot.y(y))), ALLOWED);
    }
}

/// One edge of the allowed area between two points.
fn edge(plot: &Plot<'_>, (x0, a): (f64, Option<f64>), (x1, b): (f64, Option<f64>), open: f64) -> Vec<(f64, f64)> {
    let (Some(a), Some(b)) = (a, b) else {
        return vec![(x0, a.unwrap_or(open)), (x1, b.unwrap_or(open))];
    };
    let rule = plot.ladder.rule.as_ref().map_or(&[][..], |rule| &rule.points);
    let at = |x: f64| {
        rule.iter()
            .find(|(known, _)| (known - x).abs() < 1e-9 * x.abs().max(1.0))
    };
    let mut edge = vec![(x0, a)];
    if let (Some((_, first)), Some((_, last))) = (at(x0), at(x1)) {
        let between = rule.iter().filter(|(x, _)| *x > x0 && *x < x1);
        edge.extend(between.map(|(x, y)| {
            let share = (x - x0) / (x1 - x0);
            (*x, y + (a - first) * (1.0 - share) + (b - last) * share)
        }));
    }
    edge.push((x1, b));
    edge
}

fn grid(out: &mut Sketch, plot: &Plot<'_>, width: f64) {
    let bottom = plot.top + PLOT_PT;
    let wanted = if width > HALF_PT { 10 } else { 5 };
    for (at, figure) in ticks(&plot.across, wanted, 1.0, "") {
        let x = LEFT_PT + plot.width * at;
        out.line([(x, plot.top), (x, bottom)], Stroke::Grid);
        out.centred((x, bottom + 2.5), 40.0, &figure);
    }
    for (at, figure) in ticks(&plot.up, 5, 1.0, "") {
        let y = plot.top + PLOT_PT * (1.0 - at);
        out.line([(LEFT_PT, y), (LEFT_PT + plot.width, y)], Stroke::Grid);
        out.text((0.0, y - SMALL / 2.0), LEFT_PT - 3.0, "right", &figure);
    }
    let (left, right) = (LEFT_PT, LEFT_PT + plot.width);
    let frame = [
        (left, plot.top),
        (right, plot.top),
        (right, bottom),
        (left, bottom),
        (left, plot.top),
    ];
    out.line(frame, Stroke::Frame);
    let across = &plot.ladder.across;
    out.centred(
        (LEFT_PT + plot.width / 2.0, bottom + 12.0),
        plot.width,
        &with_unit(&across.says, &across.unit),
    );
}

fn draw_series(out: &mut Sketch, plot: &Plot<'_>, number: usize, series: &Series) {
    let alone = plot.ladder.series.len() == 1;
    let few = series.points.len() <= MOST_MARKS;
    for (at, spot) in &series.points {
        let Some(value) = spot.value else { continue };
        let (x, y) = (plot.x(*at), plot.y(value));
        for bound in spot.low.iter().chain(&spot.high) {
            if *bound >= plot.up.from && *bound <= plot.up.to {
                out.line([(x - 4.0, plot.y(*bound)), (x + 4.0, plot.y(*bound))], Stroke::Bound);
            }
        }
        if let Some(wide) = spot.expanded.filter(|wide| *wide > 0.0) {
            out.whisker(x, (plot.y(value - wide), plot.y(value + wide)));
        }
        match spot.verdict {
            Some(verdict) if verdict != Verdict::Pass || (alone && few) => {
                if !alone {
                    out.symbol(number, (x, y));
                }
                out.mark((x, y), 4.8, verdict);
            }
            _ => out.symbol(number, (x, y)),
        }
    }
}

/// What stands above the plot: the one reading with its unit, or each with its symbol, and the rule.
fn legend(ladder: &Ladder) -> Vec<String> {
    let mut lines = Vec::new();
    if ladder.series.len() > 1 {
        lines.extend(ladder.series.iter().map(|series| series.says.clone()));
    }
    lines.extend(ladder.rule.iter().map(|rule| rule.says.clone()));
    lines
}

fn write_legend(out: &mut Sketch, ladder: &Ladder, width: f64) {
    let title = match ladder.series.as_slice() {
        [one] => with_unit(&one.says, &ladder.unit),
        _ => ladder.unit.clone(),
    };
    out.bold((0.0, 0.0), width, &title);
    for (number, text) in legend(ladder).iter().enumerate() {
        let y = 10.0 + LINE_PT * number as f64;
        let middle = y + SMALL / 2.0;
        if ladder.series.len() > 1 && number < ladder.series.len() {
            out.symbol(number, (LEFT_PT + 5.0, middle));
        } else {
            out.line([(LEFT_PT - 4.0, middle), (LEFT_PT + 11.0, middle)], Stroke::Rule);
        }
        let room = width - LEFT_PT - 16.0;
        out.text((LEFT_PT + 15.0, y), room.max(width_of(text).min(room)), "left", text);
    }
}
