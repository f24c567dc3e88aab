//! What the bench can decide, as lines: what it cannot comes first, with the reason and what would mend it.

use super::BenchFit;
use super::advice::Mend;
use super::words::{cell, wrapped};
use crate::screen::{quantity, tolerance};
use anstyle::{AnsiColor, Style};
use pilotage_core::Tolerance;
use pilotage_plan::fit::{Decides, Fitness};

/// The order in which they are told.
const ORDER: [Decides; 4] = [Decides::No, Decides::GuardBanded, Decides::OnlyWhenRead, Decides::Yes];

/// Widths of the columns.
#[derive(Clone, Copy)]
struct Columns {
    name: usize,
    limit: usize,
    all: usize,
}

impl Columns {
    fn within(width: usize) -> Self {
        let room = width.saturating_sub(2 + 7 + 2 + 10 + 6);
        let name = (room * 45 / 100).min(34);
        Self {
            name,
            limit: (room - name).min(44),
            all: width,
        }
    }
}

/// The lines.
pub fn limit_lines(fit: &BenchFit<'_>, width: usize) -> Vec<String> {
    let columns = Columns::within(width);
    let counts = fit.counts();
    let mut lines = vec![summary(fit)];
    for decides in ORDER.into_iter().filter(|decides| counts.contains_key(decides)) {
        lines.push(String::new());
        lines.push(format!("  {} ({})", title(decides), counts[&decides]));
        lines.push(heading(columns));
        lines.extend(of_one_sort(fit, decides, columns));
    }
    lines
}

fn summary(fit: &BenchFit<'_>) -> String {
    let counts = fit.counts();
    let count = |decides: Decides| counts.get(&decides).copied().unwrap_or(0);
    format!(
        "  {} limits: {} decided, {} guard-banded, {} known when read, {} not decidable",
        fit.limits.len(),
        count(Decides::Yes),
        count(Decides::GuardBanded),
        count(Decides::OnlyWhenRead),
        count(Decides::No),
    )
}

fn title(decides: Decides) -> String {
    let (text, colour) = match decides {
        Decides::Yes => ("DECIDES: the window is at least four times U", AnsiColor::Green),
        Decides::GuardBanded => (
            "GUARD-BANDED: more than a quarter of the window is lost",
            AnsiColor::Yellow,
        ),
        Decides::OnlyWhenRead => ("KNOWN ONLY WHEN READ", AnsiColor::Cyan),
        Decides::No => ("CANNOT DECIDE on this bench", AnsiColor::Red),
    };
    let style = Style::new().fg_color(Some(colour.into())).bold();
    format!("{style}{text}{style:#}")
}

fn heading(columns: Columns) -> String {
    format!(
        "  {}{}  {}{:>10}{:>6}",
        cell("step", 7),
        cell("reading", columns.name.saturating_sub(2)),
        cell("limit", columns.limit),
        "U (k = 2)",
        "left"
    )
}

fn of_one_sort(fit: &BenchFit<'_>, decides: Decides, columns: Columns) -> Vec<String> {
    let mut lines = Vec::new();
    let mut told: Vec<usize> = Vec::new();
    for (at, limit) in fit
        .limits
        .iter()
        .enumerate()
        .filter(|(_, limit)| limit.decides == decides)
    {
        if told.iter().any(|known| alike(&fit.limits[*known], limit)) {
            continue;
        }
        told.push(at);
        let others = fit.limits.iter().filter(|other| alike(other, limit)).skip(1);
        let others: Vec<&str> = others.map(|other| other.id.as_str()).collect();
        lines.push(row(limit, columns));
        lines.extend(also(limit, &others, columns.all));
        if decides != Decides::Yes {
            lines.extend(why(limit, fit.mends.get(&at), columns.all));
        }
    }
    lines
}

/// The same reading against the same limit in several steps, with the same uncertainty.
fn alike(a: &Fitness, b: &Fitness) -> bool {
    (&a.name, &a.key, &a.limit.tolerance, a.expanded, a.decides)
        == (&b.name, &b.key, &b.limit.tolerance, b.expanded, b.decides)
}

fn row(limit: &Fitness, columns: Columns) -> String {
    let unit = &limit.limit.unit;
    let expanded = match limit.expanded {
        Some(expanded) if expanded.si() == 0.0 => "exact".to_owned(),
        Some(expanded) if limit.at_least() => format!("≥ {}", quantity(expanded, unit)),
        Some(expanded) => quantity(expanded, unit),
        None => "?".to_owned(),
    };
    let left = limit
        .left
        .map_or_else(|| "–".to_owned(), |left| format!("{:.0} %", 100.0 * left));
    format!(
        "  {}{}  {}{expanded:>10}{left:>6}",
        cell(&limit.id, 7),
        cell(&limit.name, columns.name.saturating_sub(2)),
        cell(&bounds(limit), columns.limit),
    )
}

/// A choice is the number of an answer: its title says more.
fn bounds(limit: &Fitness) -> String {
    match limit.limit.tolerance {
        Tolerance::AnyOf(_) => limit.limit.title.clone(),
        _ => tolerance(&limit.limit.tolerance, &limit.limit.unit),
    }
}

fn also(limit: &Fitness, others: &[&str], width: usize) -> Vec<String> {
    let mut ids: Vec<&str> = Vec::new();
    for id in others.iter().filter(|id| **id != limit.id) {
        if !ids.contains(id) {
            ids.push(id);
        }
    }
    if ids.is_empty() {
        return Vec::new();
    }
    wrapped(INDENT, &format!("also in {}", ids.join(", ")), width)
}

const INDENT: &str = "         ";

/// Why, and what would mend it.
fn why(limit: &Fitness, mend: Option<&Mend>, width: usize) -> Vec<String> {
    let mut lines = wrapped(&format!("{INDENT}why    "), &reason(limit), width);
    let Some(mend) = mend else { return lines };
    if let Some(needed) = &mend.needed {
        lines.extend(wrapped(&format!("{INDENT}needs  "), needed, width));
    }
    if limit.instrument_may_add().is_none() {
        return lines;
    }
    let would = if mend.would.is_empty() {
        "no instrument that is known here".to_owned()
    } else {
        mend.would.join("; or ")
    };
    lines.extend(wrapped(&format!("{INDENT}would  "), &would, width));
    lines
}

/// Why a limit is not simply decided, in one sentence.
pub fn reason(limit: &Fitness) -> String {
    if let Some(unknown) = &limit.unknown {
        return unknown.clone();
    }
    let pass = limit
        .pass
        .as_ref()
        .map_or(String::new(), |pass| format!(", worst in the pass {pass}"));
    let needs = limit.needs.filter(|_| !limit.decidable);
    let needs = needs.map_or(String::new(), |needs| {
        format!("the step allows at most {}; ", quantity(needs, &limit.limit.unit))
    });
    match limit.dominating() {
        Some((term, share)) => format!(
            "{needs}{:.0} % of the variance is the {} ({}){pass}",
            100.0 * share,
            term.what,
            term.place.trim_start_matches("shipped:")
        ),
        None => format!("{needs}a choice needs an exact value{pass}"),
    }
}
