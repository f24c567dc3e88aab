//! What was said and sent, against what was true. An empty list is what every run must give.
//!
//! | looked at | must hold |
//! | --- | --- |
//! | hands are wanted at the item | from the prompt to the answer every conductor is below 30 V, and the isolator is locked (unless the person lied about it) |
//! | "dead" | over the very readings that it names each pair was below 30 V AC and 60 V DC |
//! | a line that can energise | its intent was on disk before, names it, and is spent by it |
//! | a trip, a stop, a journal that failed | no line that can energise comes after it |
//! | the end | make safe was run last; confirmed means output and input are dead now; not confirmed means exit code 6 |

use crate::bench::Story;
use crate::witness::{Entry, Sight, What};
use pilotage_core::RunTime;
use pilotage_evidence::Event;

/// Below this a conductor counts as dead, V AC rms.
const DEAD_AC_V: f64 = 30.0;
/// The same for DC, V.
const DEAD_DC_V: f64 = 60.0;
/// A conductor that is connected to mains; the ghost of an open one stays far below, V rms.
const LIVE_V: f64 = 100.0;
/// Behind the diode, an item in the middle of its tolerance sees state C at and below this: 1 kΩ · (8 − 0.7) / (12 − 8).
const ASKING_OHM: f64 = 1825.0;

/// Everything that contradicts the truth, in words.
pub(crate) fn contradictions(story: &Story) -> Vec<String> {
    let mut found = Vec::new();
    hands(&story.entries, &mut found);
    dead(&story.entries, &mut found);
    energising(&story.entries, &mut found);
    end(story, &mut found);
    found
}

/// Whether a person lied about the lock.
pub(crate) fn lied(story: &Story) -> bool {
    story.entries.iter().any(|entry| matches!(entry.what, What::Lied))
}

/// Whoever was asked to put hands in may still have them in when the question was withdrawn: only an answer ends it.
fn hands(entries: &[Entry], found: &mut Vec<String>) {
    let mut open: Option<&str> = None;
    let mut lied = false;
    for entry in entries {
        match &entry.what {
            What::HandsIn { prompt } => open = Some(prompt),
            What::HandsOut => open = None,
            What::Lied => lied = true,
            What::Sight(sight) | What::Sent { sight, .. } => {
                let Some(prompt) = open else { continue };
                if is_live(sight) {
                    found.push(format!(
                        "hands at {:.1} V AC, {:.1} V DC, {:.3} s: {prompt}",
                        sight.highest(),
                        sight.highest_dc(),
                        entry.at.seconds()
                    ));
                }
                if !sight.locked && !lied {
                    found.push(format!("hands without the lock, {:.3} s: {prompt}", entry.at.seconds()));
                }
            }
            _ => {}
        }
    }
}

fn dead(entries: &[Entry], found: &mut Vec<String>) {
    for (index, entry) in entries.iter().enumerate() {
        let What::Event(event) = &entry.what else { continue };
        let Event::Dead(statement) = event.as_ref() else {
            continue;
        };
        if !statement.dead {
            continue;
        }
        let Some(What::Pairs(pairs)) = entries.get(index + 1).map(|next| &next.what) else {
            found.push("a statement of dead without a look back".to_owned());
            continue;
        };
        for pair in pairs {
            if pair.ac_v.0 >= DEAD_AC_V || pair.ac_v.1 >= DEAD_AC_V || pair.dc_v.abs() >= DEAD_DC_V {
                found.push(format!(
                    "said dead at {:.3} s: {}: {pair:?}",
                    entry.at.seconds(),
                    pair.name
                ));
            }
        }
        if pairs.len() != 3 {
            found.push(format!("said dead of {} pairs", pairs.len()));
        }
    }
}

/// How often an output had become live again by the time it was said dead: every reading was true when it was taken, and
/// the statement names their time. With the supply off this cannot be.
pub(crate) fn overtaken(story: &Story) -> usize {
    let mut last: Option<&Sight> = None;
    let mut count = 0;
    for entry in &story.entries {
        match &entry.what {
            What::Sight(sight) | What::Sent { sight, .. } => last = Some(sight),
            What::Event(event) => {
                if let Event::Dead(statement) = event.as_ref() {
                    count +=
                        usize::from(statement.dead && last.is_some_and(|sight| place(sight, &statement.at) >= LIVE_V));
                }
            }
            _ => {}
        }
    }
    count
}

/// Whether anything there may hurt.
fn is_live(sight: &Sight) -> bool {
    sight.highest() >= DEAD_AC_V || sight.highest_dc() >= DEAD_DC_V
}

fn place(sight: &Sight, at: &str) -> f64 {
    let volts = match at {
        "ac_input" => &sight.in_v,
        "dc_output" => &sight.dc_v,
        _ => &sight.out_v,
    };
    volts.iter().copied().fold(0.0, f64::max)
}

fn energising(entries: &[Entry], found: &mut Vec<String>) {
    let over = over_at(entries);
    let mut intent: Option<(Vec<(String, String)>, bool)> = None;
    let mut refused = false;
    let mut asking = false;
    for entry in entries {
        match &entry.what {
            What::Event(event) => {
                if let Event::Intent { messages, .. } = event.as_ref() {
                    intent = Some((messages.clone(), false));
                }
            }
            What::Synced => intent = intent.take().map(|(messages, _)| (messages, true)),
            What::Refused(_) => refused = true,
            What::Sent {
                instrument,
                line,
                sight,
            } => {
                let energises = can_energise(instrument, line, sight, asking);
                asking = asks(instrument, line).unwrap_or(asking);
                if !energises {
                    continue;
                }
                let about = format!("{instrument} `{line}` at {:.6} s", entry.at.seconds());
                if refused {
                    found.push(format!("energised after the journal failed: {about}"));
                }
                if over.is_some_and(|over| entry.at > over) {
                    found.push(format!("energised after the stop: {about}"));
                }
                match intent.take() {
                    Some((messages, true)) if messages.iter().any(|(to, text)| to == instrument && text == line) => {}
                    Some((_, false)) => found.push(format!("energised before its intent was on disk: {about}")),
                    Some((messages, true)) => found.push(format!("energised by another intent: {about}, {messages:?}")),
                    None => found.push(format!("energised without an intent: {about}")),
                }
            }
            _ => {}
        }
    }
}

/// When the first trip or stop was.
fn over_at(entries: &[Entry]) -> Option<RunTime> {
    let trips = entries.iter().filter(|entry| match &entry.what {
        What::Event(event) => matches!(
            event.as_ref(),
            Event::Interlock { held: false, .. } | Event::Protection { held: false, .. } | Event::Stopped { .. }
        ),
        _ => false,
    });
    trips.map(|entry| entry.at).min()
}

/// Header in capitals and argument of every command of a line.
fn commands(line: &str) -> impl Iterator<Item = (String, &str)> {
    line.split(';').map(|part| {
        let part = part.trim().trim_start_matches(':');
        let (header, argument) = part.split_once(' ').unwrap_or((part, ""));
        (header.to_uppercase(), argument.trim())
    })
}

/// Whether a line puts something on the pilot that asks for energy; `None` where it leaves the pilot alone.
fn asks(instrument: &str, line: &str) -> Option<bool> {
    let mut last = None;
    for (header, argument) in commands(line).filter(|_| instrument == "pilot_box") {
        match header.as_str() {
            "ROUTE:PILOT" => last = Some(matches!(argument, "C" | "D")),
            "ROUTE:PILOT:RESISTANCE" => {
                let ohm: f64 = argument.parse().unwrap_or(0.0);
                last = Some(ohm > 0.0 && ohm <= ASKING_OHM);
            }
            "*RST" => last = Some(false),
            _ => {}
        }
    }
    last
}

/// Whether a line can put voltage or current where there was none, as things truly stand.
fn can_energise(instrument: &str, line: &str, sight: &Sight, asking: bool) -> bool {
    let number = |text: &str| text.parse::<f64>().unwrap_or(f64::MAX);
    let live = sight.out_v.iter().any(|volts| *volts >= LIVE_V);
    commands(line).any(|(header, argument)| match (instrument, header.as_str()) {
        ("supply", "OUTPUT") => argument.eq_ignore_ascii_case("on"),
        ("supply", "VOLTAGE") => sight.supply_on && number(argument) > 0.0,
        ("pilot_box", "ROUTE:PILOT" | "ROUTE:PILOT:RESISTANCE") => {
            sight.supply_on && asks(instrument, line) == Some(true)
        }
        ("pilot_box", "ROUTE:PILOT:DIODE") => sight.supply_on && asking && argument.to_uppercase().starts_with("SHOR"),
        ("load", "INPUT") => live && argument.eq_ignore_ascii_case("on"),
        ("load", "CURRENT") => live && number(argument) > 0.0,
        _ => false,
    })
}

fn end(story: &Story, found: &mut Vec<String>) {
    let Some(outcome) = &story.outcome else {
        found.push("the run hung".to_owned());
        return;
    };
    let confirmed = outcome.not_confirmed_dead.is_none();
    if confirmed == (outcome.exit_code == 6) {
        found.push(format!(
            "exit code {}, but {:?}",
            outcome.exit_code, outcome.not_confirmed_dead
        ));
    }
    let last = story.entries.iter().rev().find_map(|entry| match &entry.what {
        What::Sight(sight) => Some(sight),
        _ => None,
    });
    let dead = last.is_some_and(|sight| !is_live(sight));
    if confirmed && !dead {
        found.push(format!("confirmed dead at the end, but {last:?}"));
    }
    if !story.entries.iter().any(|entry| matches!(entry.what, What::Refused(_))) {
        told_in_order(story, confirmed, found);
    }
}

/// A whole journal begins with the heading and ends with make safe and the end.
fn told_in_order(story: &Story, confirmed: bool, found: &mut Vec<String>) {
    let events: Vec<&Event> = story.events().map(|(_, event)| event).collect();
    let made = events.iter().rposition(|event| matches!(event, Event::MadeSafe { .. }));
    let stopped = events.iter().rposition(|event| matches!(event, Event::Stopped { .. }));
    if !matches!(events.first(), Some(Event::RunStarted(_))) || !matches!(events.last(), Some(Event::RunEnded { .. })) {
        found.push("the journal has no beginning or no end".to_owned());
    }
    match made.map(|at| events[at]) {
        Some(Event::MadeSafe { confirmed: said, .. }) if *said == confirmed => {}
        other => found.push(format!(
            "the last make safe says {other:?}, the run says confirmed: {confirmed}"
        )),
    }
    if made < stopped {
        found.push("stopped without make safe after it".to_owned());
    }
}
