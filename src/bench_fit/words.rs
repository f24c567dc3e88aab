//! Spans of time, acts of make safe, and lines of a given width.

use crate::screen::in_unit;
use crate::text::harmless;
use pilotage_plan::program::{Order, ProveDeadSpec, SafeAct, Setting};
use std::time::Duration;

/// Columns of a printed text.
pub const PRINTED: usize = 100;

/// A moment of the run: minutes and seconds.
pub fn moment(after: Duration) -> String {
    let seconds = after.as_secs();
    format!("{:>3}:{:02}", seconds / 60, seconds % 60)
}

/// One line of make safe.
pub fn safe_act(act: &SafeAct) -> String {
    match act {
        SafeAct::Order(order) => self::order(order.order()),
        SafeAct::Wait(length) => format!("wait {} ms for the item to act", length.as_millis()),
        SafeAct::NothingThere(points) => {
            format!("nothing to prove dead: no instrument of this bench serves {points}")
        }
        SafeAct::SupplyOffUnlessDead(off, spec) => {
            format!(
                "where {} does not read dead yet: {} at once",
                spec.at,
                self::order(off.order())
            )
        }
        SafeAct::BleedUntil {
            read,
            below,
            deadline,
            off,
        } => format!(
            "bleed until {} reads less than {below}, for at most {} s; only then {}",
            read.point,
            deadline.as_secs(),
            self::order(off.order())
        ),
        SafeAct::ProveDead(spec) => proof(spec),
    }
}

fn order(order: &Order) -> String {
    match &order.to {
        Setting::Word(word) => format!("{} to {word}", order.point),
        Setting::Amount(value, unit) => format!("{} to {}", order.point, in_unit(*value, unit)),
    }
}

fn proof(spec: &ProveDeadSpec) -> String {
    format!("measure {} dead: {}, AC and DC", spec.at, spec.pairs.join(", "))
}

/// How many columns a text takes on a terminal, as far as the texts of this program go.
pub fn columns(text: &str) -> usize {
    text.chars().count()
}

/// A text in so many columns, made harmless: filled up, or cut with a mark.
pub fn cell(text: &str, width: usize) -> String {
    let text = harmless(text);
    let long = columns(&text);
    if long <= width {
        return format!("{text}{}", " ".repeat(width - long));
    }
    let kept: String = text.chars().take(width.saturating_sub(1)).collect();
    format!("{kept}…")
}

/// A text made harmless and wrapped to `width` columns: the first line behind `first`, all others behind as many blanks.
pub fn wrapped(first: &str, text: &str, width: usize) -> Vec<String> {
    let (first, text) = (harmless(first), harmless(text));
    let indent = columns(&first);
    let room = width.saturating_sub(indent).max(20);
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split(' ') {
        if !line.is_empty() && columns(&line) + 1 + columns(word) > room {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    lines.push(line);
    let before = |nth: usize| if nth == 0 { first.clone() } else { " ".repeat(indent) };
    lines
        .iter()
        .enumerate()
        .map(|(nth, line)| format!("{}{line}", before(nth)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::{cell, wrapped};

    #[test]
    fn a_cell_has_its_width() {
        assert_eq!(cell("Ω", 3), "Ω  ");
        assert_eq!(cell("abcdef", 4), "abc…");
    }

    #[test]
    fn lines_keep_to_their_width() {
        let lines = wrapped("  why  ", "one two three four five six seven eight nine ten", 30);
        assert!(
            lines.len() > 1 && lines.iter().all(|line| line.chars().count() <= 30),
            "{lines:?}"
        );
        assert!(lines[0].starts_with("  why  one") && lines[1].starts_with("       "));
    }
}
