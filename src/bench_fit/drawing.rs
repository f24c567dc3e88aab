//! The hook-up page as text: each terminal of the item with the leads that meet it, then the order of plugging in.

use super::words::{cell, columns, wrapped};
use pilotage_reports::hook_up::{Beside, HookUp, Lead, Meets, Rail};

/// Narrowest drawing.
pub const NARROWEST: usize = 72;

/// The lines, none wider than `width`.
pub fn drawing(page: &HookUp, width: usize) -> Vec<String> {
    let width = width.max(NARROWEST);
    let mut lines = vec![ruled("HOOK-UP", width)];
    lines.extend(head(page, width));
    lines.push(String::new());
    for (at, rail) in page.rails.iter().enumerate() {
        let new_place = at == 0 || page.rails[at - 1].at != rail.at;
        if new_place {
            lines.push(format!("  {}", place(rail)));
        }
        lines.extend(of_rail(page, at, width));
    }
    if !page.leads.is_empty() {
        lines.extend(legend(width));
    }
    lines.extend(besides("To parts of the item", &page.parts, width));
    lines.extend(besides("Stays on the bench", &page.on_bench, width));
    lines.extend(order(page, width));
    lines
}

fn ruled(title: &str, width: usize) -> String {
    let rule = "─".repeat(width.saturating_sub(columns(title) + 4));
    format!("── {title} {rule}")
}

fn head(page: &HookUp, width: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let fed = page.protected_by.as_ref().map(|by| format!(", behind it {by}"));
    lines.extend(wrapped(
        "  isolator  ",
        &format!("{}{}", page.isolator, fed.unwrap_or_default()),
        width,
    ));
    lines.extend(wrapped("  stop      ", &page.stop, width));
    lines.extend(wrapped(
        "  item      ",
        &format!("{}, serial {}", page.item.0, page.item.1),
        width,
    ));
    lines.extend(wrapped("  bench     ", &page.bench, width));
    lines.push(String::new());
    for (signal, text) in &page.cautions {
        lines.extend(wrapped(&format!("  {signal:<8}  "), text, width));
    }
    lines
}

fn place(rail: &Rail) -> String {
    format!("{} ({})", rail.place, rail.at)
}

/// A terminal, and below it every lead that meets it.
fn of_rail(page: &HookUp, at: usize, width: usize) -> Vec<String> {
    let meeting: Vec<(&Lead, Meets)> = page
        .leads
        .iter()
        .filter_map(|lead| Some((lead, lead.ends.iter().find(|(rail, _)| *rail == at)?.1)))
        .collect();
    let last = meeting.len().saturating_sub(1);
    let rows = meeting.iter().enumerate();
    rows.flat_map(|(nth, (lead, meets))| {
        let label = if nth == 0 {
            page.rails[at].conductor.as_str()
        } else {
            ""
        };
        let joint = match (nth == 0, nth == last) {
            (true, true) => "──",
            (true, false) => "┬─",
            (false, true) => "└─",
            (false, false) => "├─",
        };
        let row = format!(
            "    {}{joint}{} {:>2}  {}  ",
            cell(label, 6),
            sign(*meets),
            lead.number,
            cell(&lead.name(), 16)
        );
        let below = format!("    {}{}", " ".repeat(6), if nth == last { " " } else { "│" });
        said(
            &row,
            &below,
            &format!("{}: {}", other_ends(page, lead, at), lead.purpose),
            width,
        )
    })
    .collect()
}

/// Wrapped, with the conductor drawn on beside the lines that follow.
fn said(row: &str, below: &str, text: &str, width: usize) -> Vec<String> {
    let mut lines = wrapped(row, text, width);
    for line in lines.iter_mut().skip(1) {
        *line = format!("{below}{}", line.chars().skip(columns(below)).collect::<String>());
    }
    lines
}

/// How a lead meets a conductor, as a sign that needs no colour.
const fn sign(meets: Meets) -> &'static str {
    match meets {
        Meets::High => "+",
        Meets::Low => "−",
        Meets::Clamp => "◎",
        Meets::Series => "▬",
        Meets::Power => "■",
        Meets::Each => "○",
    }
}

/// Through what, and to which other terminal.
fn other_ends(page: &HookUp, lead: &Lead, at: usize) -> String {
    let own = &page.rails[at];
    let others: Vec<String> = lead
        .ends
        .iter()
        .filter(|(rail, meets)| *rail != at && matches!(meets, Meets::High | Meets::Low))
        .map(|(rail, _)| {
            let other = &page.rails[*rail];
            if other.at == own.at {
                other.conductor.clone()
            } else {
                format!("{} {}", other.at, other.conductor)
            }
        })
        .collect();
    if others.is_empty() {
        return lead.through.clone();
    }
    format!("against {}, {}", others.join(", "), lead.through)
}

fn legend(width: usize) -> Vec<String> {
    let text = "+ and − the two leads of a measurement · ■ power lead · ○ switched lead · ◎ around the conductor · ▬ in series. The \
                number is the lead's, in the order of plugging.";
    let mut lines = vec![String::new()];
    lines.extend(wrapped("  ", text, width));
    lines
}

fn besides(title: &str, all: &[Beside], width: usize) -> Vec<String> {
    if all.is_empty() {
        return Vec::new();
    }
    let mut lines = vec![String::new(), format!("  {title}")];
    for one in all {
        let first = format!("    {}  ", cell(&one.instrument, 16));
        let purpose = if one.purpose.is_empty() {
            String::new()
        } else {
            format!(": {}", one.purpose)
        };
        lines.extend(wrapped(&first, &format!("{}{purpose}", one.to), width));
    }
    lines
}

fn order(page: &HookUp, width: usize) -> Vec<String> {
    let mut lines = vec![String::new(), ruled("IN THIS ORDER", width)];
    for (nth, stage) in page.order.iter().enumerate() {
        let leads = match (stage.leads.first(), stage.leads.last()) {
            (Some(first), Some(last)) if first == last => format!(" Lead {first}."),
            (Some(first), Some(last)) => format!(" Leads {first} to {last}."),
            _ => String::new(),
        };
        lines.extend(wrapped(
            &format!("  {}  ", nth + 1),
            &format!("{}{leads}", stage.says),
            width,
        ));
    }
    lines.push(String::new());
    lines.push("  plugged by ____________________    checked by ____________________".to_owned());
    lines
}
