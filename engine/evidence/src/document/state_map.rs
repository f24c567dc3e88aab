//! The sweep of the pilot's load: at which resistance and level the item does what.

use super::types::{StateMap, StatePoint};
use crate::event::{Event, Reading};
use crate::record::Record;
use pilotage_core::{Dimension, Tolerance};

/// Fewer points are no map.
const FEWEST_POINTS: usize = 5;
/// Below this, no point of the sweep had the contactor closed: the voltage that also counts as dead for the bench.
const CLOSED_AT_LEAST_V: f64 = 30.0;

/// The map of the first step that swept the resistance of the pilot's load and read its level.
pub(super) fn state_map(record: &Record) -> Option<StateMap> {
    let steps = &record.heading().steps;
    steps.iter().find_map(|head| {
        let mut points = points(record, head.number);
        if points.len() < FEWEST_POINTS {
            return None;
        }
        mark_way_back(&mut points);
        mark_closed(&mut points);
        Some(StateMap {
            step: head.number,
            id: head.id.clone(),
            points,
            levels: levels(record, head.number),
            bands: bands(record),
        })
    })
}

/// Each swept resistance begins a point; the level and the output read after it belong to it.
fn points(record: &Record, step: u32) -> Vec<StatePoint> {
    let mut points: Vec<StatePoint> = Vec::new();
    for stamped in record.events() {
        let Event::Reading(reading) = &stamped.event else {
            continue;
        };
        let Some(si) = value(reading).filter(|_| reading.step == step) else {
            continue;
        };
        if is_swept(reading) {
            points.push(StatePoint {
                seq: stamped.seq,
                pass: reading.pass.clone().unwrap_or_default(),
                resistance_ohm: si,
                pilot_v: None,
                output_v: None,
                closed: None,
                back: false,
            });
        } else if let Some(point) = points.last_mut() {
            let slot = match reading.point.as_str() {
                "pilot.high" => &mut point.pilot_v,
                name if name.starts_with("ac_output[") && name.ends_with("].voltage") => &mut point.output_v,
                _ => continue,
            };
            if slot.is_none() {
                *slot = Some(si);
                point.seq = stamped.seq;
            }
        }
    }
    points.retain(|point| point.pilot_v.is_some());
    points
}

fn value(reading: &Reading) -> Option<f64> {
    reading.value.as_ref().map(|measured| measured.value.si())
}

/// The setting itself, or the bench's own reading of its resistor: never a resistance of the item.
fn is_swept(reading: &Reading) -> bool {
    let resistance = reading
        .value
        .as_ref()
        .is_some_and(|measured| measured.value.dimension() == Dimension::RESISTANCE);
    resistance && (reading.point == "pilot_load.resistance" || (reading.point.is_empty() && reading.formula.is_none()))
}

/// The way back begins where the resistance first turns or stands still.
fn mark_way_back(points: &mut [StatePoint]) {
    let steps: Vec<f64> = points
        .windows(2)
        .map(|pair| pair[1].resistance_ohm - pair[0].resistance_ohm)
        .collect();
    let first = steps.first().copied().unwrap_or(0.0);
    if let Some(turn) = steps.iter().position(|step| step * first <= 0.0) {
        points[turn + 1..].iter_mut().for_each(|point| point.back = true);
    }
}

fn mark_closed(points: &mut [StatePoint]) {
    let highest = points.iter().filter_map(|point| point.output_v).fold(0.0, f64::max);
    let bound = (highest / 2.0).max(CLOSED_AT_LEAST_V);
    for point in points {
        point.closed = point.output_v.map(|output| output >= bound);
    }
}

/// Keys of the standard's windows of the states, in every limit set.
const STATE_WINDOW: &str = "pilot.state_";

/// The windows of the states that any step was judged against.
fn bands(record: &Record) -> Vec<(f64, f64, String)> {
    let mut bands: Vec<(f64, f64, String)> = Vec::new();
    for stamped in record.events() {
        let Event::Judged(judgement) = &stamped.event else {
            continue;
        };
        let limit = &judgement.limit;
        if let (Some(state), Tolerance::Between(low, high)) = (limit.key.strip_prefix(STATE_WINDOW), &limit.tolerance) {
            bands.push((low.si(), high.si(), state.to_owned()));
        }
    }
    bands.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.2.cmp(&b.2)));
    bands.dedup();
    bands
}

/// Bounds of the step's limits on voltages, with their titles.
fn levels(record: &Record, step: u32) -> Vec<(f64, String)> {
    let mut levels: Vec<(f64, String)> = Vec::new();
    for stamped in record.events() {
        let Event::Judged(judgement) = &stamped.event else {
            continue;
        };
        if judgement.step != step {
            continue;
        }
        let bounds = match &judgement.limit.tolerance {
            Tolerance::AtLeast(bound) | Tolerance::AtMost(bound) => vec![*bound],
            Tolerance::Between(low, high) => vec![*low, *high],
            Tolerance::AnyOf(_) => Vec::new(),
        };
        let volts = bounds.iter().filter(|bound| bound.dimension() == Dimension::VOLTAGE);
        levels.extend(volts.map(|bound| (bound.si(), judgement.limit.title.clone())));
    }
    levels.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.cmp(&b.1)));
    levels.dedup();
    levels
}
