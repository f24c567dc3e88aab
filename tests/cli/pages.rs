//! What README.md and the book print of the program, against what it prints.

use crate::support::{Place, Ran, repository};
use std::collections::BTreeSet;
use std::path::PathBuf;

/// A command of a page, and the lines that the page shows of it.
struct Shown {
    page: String,
    command: String,
    lines: Vec<String>,
}

fn pages() -> Vec<PathBuf> {
    let book = std::fs::read_dir(repository("docs")).unwrap();
    let mut pages: Vec<PathBuf> = book.map(|entry| entry.unwrap().path()).collect();
    pages.retain(|page| page.extension().is_some_and(|extension| extension == "md"));
    pages.sort();
    pages.insert(0, repository("README.md"));
    pages
}

/// In the order of the page. A `$` begins a command; what follows it up to the next is shown of it.
fn shown_on(page: &PathBuf) -> Vec<Shown> {
    let text = std::fs::read_to_string(page).unwrap();
    let mut all: Vec<Shown> = Vec::new();
    let mut inside = false;
    for line in text.lines() {
        if line.starts_with("```") {
            inside = line == "```console";
        } else if !inside {
        } else if let Some(command) = line.strip_prefix("$ ") {
            all.push(Shown {
                page: page.file_name().unwrap().to_string_lossy().into_owned(),
                command: command.split("  #").next().unwrap_or(command).trim().to_owned(),
                lines: Vec::new(),
            });
        } else if let Some(last) = all.last_mut() {
            last.lines.push(line.to_owned());
        }
    }
    all
}

/// Needs a served bench, a person at a terminal, or a shell.
fn is_for_others(command: &str) -> bool {
    !command.starts_with("pilotage ")
        || [" serve", " run ", "_tcp", "&", "|", ">"]
            .iter()
            .any(|part| command.contains(part))
}

/// As a shell would, as far as pages go: spaces part, double quotes hold together.
fn words(command: &str) -> Vec<String> {
    let mut words = Vec::new();
    for (number, piece) in command.split('"').enumerate() {
        if number % 2 == 1 {
            words.push(piece.to_owned());
        } else {
            words.extend(piece.split_whitespace().map(str::to_owned));
        }
    }
    words.split_off(1)
}

/// An `…` stands for anything.
fn fits(shown: &str, printed: &str) -> bool {
    let mut rest = printed;
    let mut pieces = shown.split('…').map(str::trim);
    let first = pieces.next().unwrap_or_default();
    let Some(after) = rest.trim().strip_prefix(first) else {
        return false;
    };
    rest = after;
    pieces.all(|piece| match rest.find(piece) {
        Some(at) => {
            rest = &rest[at + piece.len()..];
            true
        }
        None => false,
    }) && (shown.contains('…') || rest.is_empty())
}

/// Every shown line in its order, whichever of the two outputs a terminal had first.
fn missing_line<'s>(shown: &'s [String], ran: &Ran) -> Option<&'s str> {
    let missing = |text: String| {
        let mut printed = text.lines();
        let mut lines = shown.iter().map(String::as_str);
        lines.find(|line| !matches!(line.trim(), "" | "…") && !printed.any(|other| fits(line, other)))
    };
    missing(format!("{}\n{}", ran.err, ran.out)).and(missing(format!("{}\n{}", ran.out, ran.err)))
}

#[test]
fn the_pages_show_what_the_program_prints() {
    let place = Place::new();
    for folder in ["docs", "sequences", "tests"] {
        std::os::unix::fs::symlink(repository(folder), place.path().join(folder)).unwrap();
    }
    let (mut compared, mut wrong, mut last_code) = (0, Vec::new(), 0);
    for shown in pages().iter().flat_map(shown_on) {
        if shown.command == "echo $?" && shown.lines.first() != Some(&last_code.to_string()) {
            wrong.push(format!("{}: {last_code} came, not {:?}", shown.page, shown.lines));
        }
        if shown.lines.is_empty() || is_for_others(&shown.command) {
            continue;
        }
        let words = words(&shown.command);
        let ran = place.run(&words.iter().map(String::as_str).collect::<Vec<_>>());
        if let Some(line) = missing_line(&shown.lines, &ran) {
            wrong.push(format!(
                "{}: `{}` does not print in its place\n{line}",
                shown.page, shown.command
            ));
        }
        last_code = ran.code;
        compared += 1;
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(compared >= 12, "{compared} commands compared");
}

/// Ids of steps in a text: `WU-14`, `OB-03a`; of `WU-50 to WU-56` both ends.
fn ids(text: &str) -> BTreeSet<String> {
    let words = text.split(|c: char| !c.is_ascii_alphanumeric() && c != '-');
    let is_id = |word: &&str| {
        let (kind, number) = word.split_once('-').unwrap_or_default();
        ["BC", "WU", "OB", "IN", "CA"].contains(&kind) && number.starts_with(|c: char| c.is_ascii_digit())
    };
    words.filter(is_id).map(str::to_owned).collect()
}

/// The page of steps names every step of every shipped sequence and chapter, and everything that one leaves out.
#[test]
fn the_page_of_steps_names_every_step() {
    let page = ids(&std::fs::read_to_string(repository("docs/steps.md")).unwrap());
    let mut seen = 0;
    for folder in ["chapters", "wall_unit", "onboard_charger", "inlet", "cable"] {
        for entry in std::fs::read_dir(repository("sequences").join(folder)).unwrap() {
            let path = entry.unwrap().path();
            let text = std::fs::read_to_string(&path).unwrap();
            let named = |line: &&str| line.trim_start().starts_with("id: ") || line.contains("{what: ");
            let lines = text.lines().filter(named).filter_map(|line| line.split(',').next());
            for id in lines.flat_map(ids) {
                // A part of a step stands beside its whole.
                let whole = id.trim_end_matches(|c: char| c.is_ascii_lowercase());
                assert!(page.contains(&id) || page.contains(whole), "{}: {id}", path.display());
                seen += 1;
            }
        }
    }
    assert!(seen > 150, "only {seen} ids were found");
}
