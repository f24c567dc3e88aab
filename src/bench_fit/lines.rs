//! What a bench can do with an item, as text.

use super::BenchFit;
use super::advice::LeftOut;
use super::drawing::drawing;
use super::limit_lines::limit_lines;
use super::words::{cell, columns, moment, safe_act, wrapped};
use crate::forecast::span;
use anstyle::Style;
use pilotage_plan::program::SafeAct;
use std::time::Duration;

/// Everything, no line wider than `width` where words allow it.
pub fn lines(fit: &BenchFit<'_>, width: usize) -> Vec<String> {
    let mut lines = head(fit, width);
    lines.extend(section("What this bench can decide", width));
    lines.extend(limit_lines(fit, width));
    lines.extend(left_out(fit, width));
    lines.extend(time(fit, width));
    lines.extend(make_safe(fit, width));
    lines.push(String::new());
    lines.extend(drawing(&fit.hook_up, width));
    lines
}

fn section(title: &str, width: usize) -> Vec<String> {
    let bold = Style::new().bold();
    let rule = "─".repeat(width.saturating_sub(columns(title) + 4));
    vec![String::new(), format!("── {bold}{title}{bold:#} {rule}")]
}

fn head(fit: &BenchFit<'_>, width: usize) -> Vec<String> {
    let heading = &fit.fitted.program.heading;
    let rule = if fit.guard_banded() {
        "guard-banded: a reading nearer to a bound than U is inconclusive"
    } else {
        "simple: inside passes, outside fails; what guard bands would leave is told all the same"
    };
    let rows = [
        (
            "item",
            format!("{}, serial {}", heading.item.title, heading.item.serial),
        ),
        ("bench", heading.bench.title.clone()),
        ("limits", format!("{} ({})", heading.limits.title, heading.limits.name)),
        ("rule", rule.to_owned()),
    ];
    let mut lines = wrapped("", &heading.title, width);
    for (label, text) in rows {
        lines.extend(wrapped(&format!("  {label:<7}"), &text, width));
    }
    lines
}

fn left_out(fit: &BenchFit<'_>, width: usize) -> Vec<String> {
    let (by_sequence, by_bench): (Vec<&LeftOut>, Vec<&LeftOut>) =
        fit.left_out.iter().partition(|entry| entry.by_sequence);
    let mut lines = section("What it leaves out", width);
    let widest = fit
        .left_out
        .iter()
        .map(|entry| columns(&entry.what))
        .max()
        .unwrap_or(0)
        .min(20);
    if by_bench.is_empty() {
        lines.push("  This bench serves every step of the sequence.".to_owned());
    } else {
        lines.push(format!("  Steps that this bench cannot do ({})", by_bench.len()));
        lines.extend(by_bench.iter().flat_map(|entry| of_left_out(entry, (widest, width))));
    }
    if !by_sequence.is_empty() {
        lines.push(format!("  Not part of this sequence ({})", by_sequence.len()));
        lines.extend(by_sequence.iter().flat_map(|entry| of_left_out(entry, (widest, width))));
    }
    let skipped: Vec<_> = fit
        .fitted
        .program
        .steps
        .iter()
        .filter(|step| step.skipped.is_some())
        .collect();
    if !skipped.is_empty() {
        lines.push(format!("  Do not apply to this item ({})", skipped.len()));
        for step in skipped {
            let text = format!("{}: {}", step.head.title, step.skipped.as_deref().unwrap_or_default());
            lines.extend(wrapped(&format!("    {:<8} ", step.head.id), &text, width));
        }
    }
    lines
}

fn of_left_out(entry: &LeftOut, (widest, width): (usize, usize)) -> Vec<String> {
    let first = format!("    {}  ", cell(&entry.what, widest));
    let mut lines = wrapped(&first, &format!("{}: {}", entry.title, entry.why), width);
    for would in &entry.would {
        lines.extend(wrapped(&format!("{}would  ", " ".repeat(widest + 6)), would, width));
    }
    lines
}

fn time(fit: &BenchFit<'_>, width: usize) -> Vec<String> {
    let program = &fit.fitted.program;
    let mut lines = section("How long, and when hands are needed", width);
    lines.push(format!(
        "  about {} without the persons' own time",
        span(program.estimate.as_secs())
    ));
    lines.extend(wrapped("  before  ", &before(fit), width));
    let mut since = Duration::ZERO;
    for asked in &fit.attendance {
        let free = asked.after.saturating_sub(since);
        if free >= LONG_ENOUGH {
            lines.push(format!("  {:>6}  nobody is needed for {}", "", span(free.as_secs())));
        }
        since = asked.after;
        let what = match (asked.hands, asked.at_isolator) {
            (true, _) => "hands at the item: ",
            (_, true) => "hands at the isolator: ",
            _ => "",
        };
        let times = if asked.times > 1 {
            format!(" ({} times)", asked.times)
        } else {
            String::new()
        };
        let first = format!("  {}  {:<7}", moment(asked.after), asked.id);
        lines.extend(wrapped(&first, &format!("{what}{}{times}", asked.prompt), width));
    }
    let free = program.estimate.saturating_sub(since);
    if free >= LONG_ENOUGH {
        lines.push(format!(
            "  {:>6}  nobody is needed for {}, up to the end",
            "",
            span(free.as_secs())
        ));
    }
    if fit.fitted.program.without_source.is_none() {
        lines.extend(wrapped(
            "  ",
            "Stay within reach of the stop all the time: the tool's own make safe is no safety function.",
            width,
        ));
    }
    lines
}

/// It is worth saying that nobody is needed.
const LONG_ENOUGH: Duration = Duration::from_secs(30);

fn before(fit: &BenchFit<'_>) -> String {
    let (bench, program) = (&fit.fitted.bench, &fit.fitted.program);
    let cautions = program.heading.cautions.len();
    if let (Some(isolator), Some(stop), None) = (&bench.isolator_name, &bench.stop_name, &program.without_source) {
        return format!(
            "{cautions} cautions to acknowledge by name; {} to lock (measured dead before and behind the lock); the enclosure to \
             open and close, {} to press and release (BC-11, where it was not proven within {} h)",
            isolator.value,
            stop.value,
            program.stop_proven_within.as_secs() / 3600,
        );
    }
    format!(
        "{cautions} cautions to acknowledge by name; every pair to measure dead by hand (BC-22): nothing on this bench can energise \
         the item, and nothing else may be connected to it"
    )
}

fn make_safe(fit: &BenchFit<'_>, width: usize) -> Vec<String> {
    let plan = &fit.fitted.program.make_safe;
    let mut lines = section("What make safe will do, on every way out", width);
    if fit.by_hand() {
        lines.push("  Nothing: this bench switches nothing.".to_owned());
        return lines;
    }
    lines.extend(in_order("at the end  ", &plan.normal, width));
    lines.extend(in_order("at a stop   ", &plan.emergency, width));
    lines.extend(wrapped("  if it cannot be confirmed: ", &plan.by_hand, width));
    lines
}

fn in_order(label: &str, acts: &[SafeAct], width: usize) -> Vec<String> {
    let words: Vec<String> = acts.iter().map(safe_act).collect();
    wrapped(&format!("  {label}"), &words.join(" → "), width)
}
