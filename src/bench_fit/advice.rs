//! Which instrument would do what this bench does not.

use crate::fitting::{Fitted, Reader, bench_drivers_and_shipped};
use crate::screen::quantity;
use crate::shipped::{Shelf, Shelves};
use pilotage_evidence::ItemKind;
use pilotage_plan::files::bench::BenchFile;
use pilotage_plan::files::driver::DriverFile;
use pilotage_plan::fit::points::{Holds, PointShape, point_of};
use pilotage_plan::fit::{Decides, Fitness, would_decide};
use pilotage_plan::lower::read as reading;
use std::collections::BTreeMap;

/// What would mend a limit that this bench does not decide.
#[derive(Debug, Clone, PartialEq)]
pub struct Mend {
    /// The uncertainty that would do, and what of it is the instrument's.
    pub needed: Option<String>,
    /// Instruments that are known here and would do.
    pub would: Vec<String>,
}

/// Mends of the limits that are guard-banded or cannot be decided, by their place in the list.
pub fn mends(fitted: &Fitted, limits: &[Fitness]) -> BTreeMap<usize, Mend> {
    let open = |limit: &Fitness| matches!(limit.decides, Decides::GuardBanded | Decides::No);
    if !limits.iter().any(open) {
        return BTreeMap::new();
    }
    let drivers = bench_drivers_and_shipped(fitted);
    let listed = limits.iter().enumerate().filter(|(_, limit)| open(limit));
    listed.map(|(at, limit)| (at, mend(fitted, &drivers, limit))).collect()
}

fn mend(fitted: &Fitted, drivers: &BTreeMap<String, DriverFile>, limit: &Fitness) -> Mend {
    let better = |new: &Fitness| new.decides == Decides::Yes;
    Mend {
        needed: needed(limit),
        would: would_decide(&fitted.program, &fitted.bench, drivers, limit, &better),
    }
}

fn needed(limit: &Fitness) -> Option<String> {
    let wanted = limit.wanted()?;
    let in_all = format!("U of at most {}", quantity(wanted, &limit.limit.unit));
    if of_a_person(limit) {
        return Some(format!(
            "{in_all}: read the meter more exactly, and state its uncertainty with the answer, behind `±`"
        ));
    }
    let Some(own) = limit.instrument_may_add() else {
        return Some(format!(
            "{in_all}; sampling, smoothing and polling alone bring more than that, so no instrument helps: raise `rate`, shorten \
             `every`, or accept the guard band"
        ));
    };
    let points = limit.points.join("` and `");
    if points.is_empty() {
        return Some(in_all);
    }
    let share = dominating_may_be(limit).map_or(String::new(), |share| {
        format!(": the largest part at most {share:.0} % of what is written there")
    });
    Some(format!(
        "{in_all}, of which an instrument at `{points}` may add {}{share}",
        quantity(own, &limit.limit.unit)
    ))
}

/// Whether most of it comes from what a person reads.
fn of_a_person(limit: &Fitness) -> bool {
    limit
        .dominating()
        .is_some_and(|(term, _)| term.what.contains("for the answer"))
}

/// How large the dominating term may be, in percent of what it is, with all others as they are.
fn dominating_may_be(limit: &Fitness) -> Option<f64> {
    let (wanted, expanded) = (limit.wanted()?.si(), limit.expanded?.si());
    let (term, share) = limit.dominating()?;
    let dominating = expanded * expanded * share;
    let left = wanted * wanted - (expanded * expanded - dominating);
    (term.by_instrument && left > 0.0).then(|| 100.0 * (left / dominating).sqrt())
}

/// A step that is not tested.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftOut {
    /// Its id.
    pub what: String,
    /// Its title.
    pub title: String,
    /// Why.
    pub why: String,
    /// Whether the sequence itself leaves it out, and not this bench.
    pub by_sequence: bool,
    /// What would do it.
    pub would: Vec<String>,
}

/// What this run will not cover.
pub fn left_out(fitted: &Fitted) -> Vec<LeftOut> {
    let kind = fitted.program.heading.item.kind;
    let own: Vec<&str> = fitted
        .sequence
        .steps
        .iter()
        .map(|step| step.id.value.as_str())
        .collect();
    let benches = shipped_benches();
    let listed = fitted.program.heading.not_tested.iter();
    listed
        .map(|entry| {
            let points = points_in(kind, &entry.why);
            LeftOut {
                what: entry.what.clone(),
                title: entry.title.clone(),
                why: entry.why.clone(),
                by_sequence: !own.contains(&entry.what.as_str()) || points.is_empty(),
                would: points
                    .iter()
                    .flat_map(|(point, shape)| serves(&benches, point, shape))
                    .collect(),
            }
        })
        .collect()
}

/// The points that a reason names in backticks.
fn points_in(kind: ItemKind, why: &str) -> Vec<(&str, &'static PointShape)> {
    let quoted = why.split('`').skip(1).step_by(2);
    let found = quoted.filter_map(|text| {
        let point = text.split(':').next().unwrap_or(text).trim();
        point_of(kind, point).map(|found| (point, found.shape))
    });
    found.collect()
}

fn shipped_benches() -> Vec<(String, BenchFile)> {
    let shelves = Shelves::default();
    let read = |text: crate::shipped::Text| {
        let name = text.name.clone();
        let bench = Reader::new(&shelves)
            .read_text("bench", text, reading::read_bench)
            .ok()?;
        Some((name, bench))
    };
    Shelves::all(Shelf::Benches).into_iter().filter_map(read).collect()
}

/// How shipped benches serve a point; else what an instrument would have to do.
fn serves(benches: &[(String, BenchFile)], point: &str, shape: &PointShape) -> Vec<String> {
    let mut ways: BTreeMap<(&str, &str), Vec<&str>> = BTreeMap::new();
    for (name, bench) in benches {
        let Some(service) = bench.points.iter().find(|service| service.point.value == point) else {
            continue;
        };
        let driver = bench.instruments.iter().find(|own| own.name.value == service.by.value);
        let driver = driver.map_or("?", |own| own.driver.value.as_str());
        let name = name.trim_start_matches("shipped:benches/").trim_end_matches(".yaml");
        ways.entry((driver, &service.function.value)).or_default().push(name);
    }
    if ways.is_empty() {
        return vec![format!("`{point}`: {}", wanted(shape))];
    }
    let said = ways.into_iter().map(|((driver, function), benches)| {
        let benches = benches.join("` and `");
        format!("`{point}`: driver `{driver}`, function `{function}`, as on the bench `{benches}`")
    });
    said.collect()
}

/// What a driver's function would have to do.
fn wanted(shape: &PointShape) -> String {
    let does = match (shape.set, shape.capture && !shape.read) {
        (true, _) => "an instrument that sets",
        (false, true) => "an instrument that captures",
        (false, false) => "an instrument that reads",
    };
    let of = match shape.holds {
        Holds::Words(words) => format!(" ({})", words.join(", ")),
        Holds::Amount(dimension) => {
            pilotage_core::Unit::coherent(dimension).map_or(String::new(), |unit| format!(" (in {})", unit.symbol))
        }
    };
    let connected = if shape.mains {
        ", connected differential or isolated"
    } else {
        ""
    };
    format!("{does} the {}{of}{connected}", shape.meaning)
}
