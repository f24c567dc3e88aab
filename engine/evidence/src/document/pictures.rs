//! Pictures from the record: what the heading asks for, filled with what was read and judged.

use super::picture::{
    self, Axis, Bar, Bars, Cell, Course, Field, Ladder, Line, Moment, Panel, Picture, RuleLine, Series, Shows, Spot,
};
use super::taken::{Taken, by_held, in_unit, number_in, place, taken, unit_of};
use super::types::{Numbers, StepPart};
use crate::pictured::{Draws, PicturePlate, Rule, Shown};
use crate::record::Record;
use std::collections::BTreeMap;

/// More lines in one picture cannot be told apart.
const MOST_SERIES: usize = 6;

/// Every picture of every step, in order. What has nothing to show is left out.
pub(super) fn pictures(record: &Record, steps: &[StepPart]) -> Vec<Picture> {
    let mut all = Vec::new();
    for (head, part) in record.heading().steps.iter().zip(steps) {
        for plate in &head.pictures {
            all.extend(drawn(record, part, plate));
        }
    }
    all
}

fn drawn(record: &Record, part: &StepPart, plate: &PicturePlate) -> Vec<Picture> {
    let shows: Vec<(String, Shows)> = match &plate.draws {
        Draws::Map { of, across, up } => maps(record, part, (of, across, up)),
        Draws::Ladder { of, across, rule } => ladders(record, part, (of, across), rule.as_ref()),
        Draws::Bars {
            of,
            across,
            along,
            logarithmic,
        } => {
            let along = along.clone().unwrap_or_default();
            bars(record, part, (of, across.as_ref()), (&along, *logarithmic))
        }
        Draws::Course { of } => course(record, part, of).into_iter().collect(),
        Draws::Wave { .. } => Vec::new(),
    };
    let picture = |(held, shows)| Picture {
        step: part.number,
        id: part.id.clone(),
        title: plate.title.clone(),
        held,
        shows,
    };
    shows.into_iter().map(picture).collect()
}

fn axis(shown: &Shown, unit: &str) -> Axis {
    Axis {
        name: shown.name.clone(),
        says: shown.says.clone(),
        unit: unit.to_owned(),
    }
}

fn maps(record: &Record, part: &StepPart, (of, across, up): (&Shown, &Shown, &Shown)) -> Vec<(String, Shows)> {
    let all = taken(record, part, &of.name);
    let unit = unit_of(&all, of);
    let held: Vec<_> = by_held(all, &[&across.name, &up.name])
        .into_iter()
        .filter_map(|(held, group)| Some((held, cells(&group, across, up)?)))
        .collect();
    let spots = || held.iter().flat_map(|(_, (_, _, cells))| cells).map(|cell| &cell.spot);
    let valued = || spots().filter_map(|spot| Some((spot.value?, spot)));
    let lowest = valued().min_by(|a, b| a.0.total_cmp(&b.0));
    let highest = valued().max_by(|a, b| a.0.total_cmp(&b.0));
    let span = lowest
        .zip(highest)
        .map(|((_, low), (_, high))| Box::new((low.clone(), high.clone())));
    held.into_iter()
        .map(|(held, (columns, rows, cells))| {
            let field = Field {
                of: axis(of, &unit),
                across: axis(across, &across.unit),
                up: axis(up, &up.unit),
                columns,
                rows,
                cells,
                span: span.clone(),
            };
            (held, Shows::Map(field))
        })
        .collect()
}

/// Values to the right, values upwards, and the cells that were reached.
fn cells(group: &[Taken<'_>], across: &Shown, up: &Shown) -> Option<(Vec<f64>, Vec<f64>, Vec<Cell>)> {
    let placed: Vec<(f64, f64, &Taken)> = group
        .iter()
        .filter_map(|taken| Some((place(taken, across)?, place(taken, up)?, taken)))
        .collect();
    let columns = rising(placed.iter().map(|(x, _, _)| *x));
    let rows = rising(placed.iter().map(|(_, y, _)| *y));
    let mut cells: BTreeMap<(usize, usize), (usize, &Taken)> = BTreeMap::new();
    for (x, y, taken) in placed {
        let index = |all: &[f64], value: f64| all.iter().position(|known| known.total_cmp(&value).is_eq());
        let at = (index(&rows, y)?, index(&columns, x)?);
        let cell = cells.entry(at).or_insert((0, taken));
        cell.0 += 1;
        if taken.decides_before(cell.1) {
            cell.1 = taken;
        }
    }
    let cell = |((row, column), (times, taken)): (&(usize, usize), &(usize, &Taken))| Cell {
        column: *column,
        row: *row,
        times: *times,
        spot: taken.spot.clone(),
    };
    let cells: Vec<Cell> = cells.iter().map(cell).collect();
    (!cells.is_empty()).then_some((columns, rows, cells))
}

/// Each value once.
fn rising(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut all: Vec<f64> = values.collect();
    all.sort_by(f64::total_cmp);
    all.dedup_by(|a, b| a.total_cmp(b).is_eq());
    all
}

fn ladders(
    record: &Record,
    part: &StepPart,
    (of, across): (&[Shown], &Shown),
    rule: Option<&Rule>,
) -> Vec<(String, Shows)> {
    let mut unit: Option<String> = None;
    let mut series = Vec::new();
    for shown in of {
        let all = taken(record, part, &shown.name);
        let own = unit_of(&all, shown);
        let unit = unit.get_or_insert_with(|| own.clone());
        for (held, group) in by_held(all, &[&across.name]) {
            let point = |taken: &Taken| Some((place(taken, across)?, in_other_unit(&taken.spot, &own, unit)));
            let points: Vec<(f64, Spot)> = group.iter().filter_map(point).collect();
            let says = if held.is_empty() {
                shown.says.clone()
            } else {
                format!("{}, {held}", shown.says)
            };
            series.extend((!points.is_empty()).then_some(Series { says, points }));
        }
    }
    let unit = unit.unwrap_or_default();
    let line = rule.map(|rule| RuleLine {
        says: rule.says.clone(),
        points: rule
            .points
            .iter()
            .map(|(x, y)| (number_in(*x, &across.unit), number_in(*y, &unit)))
            .collect(),
    });
    let ladder = |some: &[Series]| {
        let ladder = Ladder {
            across: axis(across, &across.unit),
            unit: unit.clone(),
            series: some.to_vec(),
            rule: line.clone(),
        };
        (String::new(), Shows::Ladder(ladder))
    };
    series.chunks(MOST_SERIES).map(ladder).collect()
}

fn in_other_unit(spot: &Spot, from: &str, to: &str) -> Spot {
    let numbers = Numbers {
        value: spot.value,
        expanded: spot.expanded,
        low: spot.low,
        high: spot.high,
        margin: None,
        risk: None,
    };
    let numbers = in_unit(&numbers, from, to);
    Spot {
        value: numbers.value,
        expanded: numbers.expanded,
        low: numbers.low,
        high: numbers.high,
        ..spot.clone()
    }
}

fn bars(
    record: &Record,
    part: &StepPart,
    (of, across): (&[Shown], Option<&Shown>),
    (along, logarithmic): (&str, bool),
) -> Vec<(String, Shows)> {
    let mut unit: Option<String> = None;
    let labels = short_labels(of);
    // What is the same all over a picture, with its bars: label, the reading that decides.
    let mut groups: Vec<(String, Vec<Bar>)> = Vec::new();
    for (shown, label) in of.iter().zip(&labels) {
        let all = taken(record, part, &shown.name);
        let own = unit_of(&all, shown);
        let unit = unit.get_or_insert_with(|| own.clone());
        let mut but = vec![];
        but.extend(across.map(|across| across.name.as_str()));
        for (held, group) in by_held(all, &but) {
            let mut places: Vec<(Option<f64>, &Taken)> = Vec::new();
            for taken in &group {
                let at = across.and_then(|across| place(taken, across));
                match places.iter_mut().find(|(known, _)| *known == at) {
                    Some((_, known)) if taken.decides_before(known) => *known = taken,
                    Some(_) => {}
                    None => places.push((at, taken)),
                }
            }
            let bar = |(at, taken): &(Option<f64>, &Taken)| Bar {
                label: at.map_or_else(|| label.clone(), picture::label),
                spot: in_other_unit(&taken.spot, &own, unit),
            };
            let new = places.iter().map(bar);
            match groups.iter_mut().find(|(known, _)| *known == held) {
                Some((_, bars)) => bars.extend(new),
                None => groups.push((held, new.collect())),
            }
        }
    }
    let unit = unit.unwrap_or_default();
    let along = match (along, across) {
        ("", Some(across)) => picture::with_unit(&across.says, &across.unit),
        (along, _) => along.to_owned(),
    };
    let says = match of {
        [one] => one.says.clone(),
        _ => String::new(),
    };
    let shows = |(held, bars): (String, Vec<Bar>)| {
        let all = Bars {
            says: says.clone(),
            unit: unit.clone(),
            along: along.clone(),
            logarithmic,
            bars,
        };
        (held, Shows::Bars(all))
    };
    groups.into_iter().map(shows).collect()
}

/// Words of the bars; where all are one word and a number (`h_3`), the number alone.
fn short_labels(of: &[Shown]) -> Vec<String> {
    let digits = |text: &str| text.len() - text.trim_end_matches(|c: char| c.is_ascii_digit()).len();
    let front = |text: &str| text[..text.len() - digits(text)].to_owned();
    let alike = of.len() > 2
        && of
            .iter()
            .all(|shown| digits(&shown.says) > 0 && front(&shown.says) == front(&of[0].says));
    let label = |shown: &Shown| {
        if alike {
            shown.says[front(&shown.says).len()..].to_owned()
        } else {
            shown.says.clone()
        }
    };
    of.iter().map(label).collect()
}

fn course(record: &Record, part: &StepPart, of: &[Shown]) -> Option<(String, Shows)> {
    let begin_s = part.began_s.unwrap_or(0.0);
    let mut panels: Vec<Panel> = Vec::new();
    for shown in of {
        let all = taken(record, part, &shown.name);
        let line = Line {
            says: shown.says.clone(),
            pieces: pieces(&all, begin_s),
        };
        let unit = unit_of(&all, shown);
        if line.pieces.is_empty() {
            continue;
        }
        let bounds = all.iter().flat_map(|taken| [taken.spot.low, taken.spot.high]).flatten();
        match panels.iter_mut().find(|panel| panel.unit == unit) {
            Some(panel) => {
                panel.lines.push(line);
                panel.bounds.extend(bounds);
            }
            None => panels.push(Panel {
                unit,
                lines: vec![line],
                bounds: bounds.collect(),
            }),
        }
    }
    for panel in &mut panels {
        panel.bounds = rising(panel.bounds.iter().copied());
    }
    (!panels.is_empty()).then(|| (String::new(), Shows::Course(Course { begin_s, panels })))
}

/// A line does not go on from one pass into the next.
fn pieces(all: &[Taken<'_>], begin_s: f64) -> Vec<Vec<Moment>> {
    let mut pieces: Vec<(Option<&str>, Vec<Moment>)> = Vec::new();
    for taken in all {
        let Some(value) = taken.spot.value else { continue };
        let moment = Moment {
            at_s: taken.at_s - begin_s,
            value,
            expanded: taken.spot.expanded,
        };
        match pieces.last_mut() {
            Some((pass, piece)) if *pass == taken.pass => piece.push(moment),
            _ => pieces.push((taken.pass, vec![moment])),
        }
    }
    pieces.into_iter().map(|(_, piece)| piece).collect()
}
