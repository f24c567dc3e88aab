//! Captures thinned out for plots: lowest and highest value around each point, so that no peak is lost.

use super::picture::{Plot, PlotKind, Trace};
use super::text::{self, seconds};
use crate::event::{Capture, CapturedChannel, Event, Reading};
use crate::pictured::{Draws, Shown};
use crate::record::{Record, Samples};
use crate::words::Verdict;
use std::collections::BTreeMap;

/// A trace has at most so many points.
const MOST_POINTS: usize = 1000;
/// A timing plot begins so long before its first event, in seconds…
const BEFORE_S: f64 = 0.05;
/// … and ends so long after its last one, in seconds.
const AFTER_S: f64 = 0.1;
/// Mains passes below a tenth of its amplitude for 0.71 ms at 45 Hz; what stays there longer is not mains, in seconds.
const QUIET_S: f64 = 1e-3;
/// Window over which the level of the pilot is looked at for a change of state, in seconds: longer than one period of
/// 1 kHz, so that every window holds a pulse.
const LEVEL_WINDOW_S: f64 = 1.5e-3;
/// Levels of two states lie 3 V apart; noise does not.
const LEVEL_CHANGE_V: f64 = 1.0;

/// A capture of the pilot alone that is this long was taken for what happens in it, not for its pulse, in seconds.
const LONG_S: f64 = 0.5;

/// For each step at most one waveform of the pilot and one timing plot; of several captures the first that failed, else the
/// first, of those that there is something to see of.
pub(super) fn plots(record: &Record) -> Vec<Plot> {
    let mut candidates: BTreeMap<(u32, bool), Vec<(u64, &Capture)>> = BTreeMap::new();
    for stamped in record.events() {
        let Event::Captured(capture) = &stamped.event else {
            continue;
        };
        let asked_for = waves(record, capture.step).next().is_some();
        for (timing, fits) in [(false, has_pilot(capture)), (true, has_timing(capture) && !asked_for)] {
            if fits {
                let key = (capture.step, timing);
                candidates.entry(key).or_default().push((stamped.seq, capture));
            }
        }
    }
    let best = |((_, timing), mut captures): ((u32, bool), Vec<(u64, &Capture)>)| {
        // Stable: of those that failed, and of the others, the first comes first.
        captures.sort_by_key(|(seq, _)| !failed(record, *seq));
        captures
            .into_iter()
            .find_map(|(seq, capture)| plot(record, seq, capture, timing))
    };
    let mut plots: Vec<Plot> = candidates.into_iter().filter_map(best).collect();
    plots.extend(
        record
            .heading()
            .steps
            .iter()
            .flat_map(|head| waves(record, head.number))
            .filter_map(|wave| asked_for(record, &wave)),
    );
    plots.sort_by_key(|plot| plot.step);
    plots
}

/// A wave that the sequence asks for.
struct Wave<'r> {
    step: u32,
    title: &'r str,
    of: &'r [Shown],
    marks: &'r [Shown],
}

fn waves(record: &Record, step: u32) -> impl Iterator<Item = Wave<'_>> {
    let head = record.heading().steps.get(step as usize);
    let pictures = head.map_or(&[][..], |head| &head.pictures).iter();
    pictures.filter_map(move |plate| match &plate.draws {
        Draws::Wave { of, marks } => Some(Wave {
            step,
            title: &plate.title,
            of,
            marks,
        }),
        _ => None,
    })
}

/// Of the captures that hold all of its points the first that failed, else the first.
fn asked_for(record: &Record, wave: &Wave<'_>) -> Option<Plot> {
    let holds = |capture: &Capture, point: &str| capture.channels.iter().any(|channel| channel.point == point);
    let captures: Vec<(u64, &Capture)> = record
        .events()
        .iter()
        .filter_map(|stamped| match &stamped.event {
            Event::Captured(capture) => Some((stamped.seq, capture)),
            _ => None,
        })
        .filter(|(_, capture)| capture.step == wave.step && wave.of.iter().all(|point| holds(capture, &point.name)))
        .collect();
    let first_failed = captures.iter().find(|(seq, _)| failed(record, *seq));
    let (seq, capture) = first_failed.or_else(|| captures.first())?;
    let id = record.heading().steps.get(wave.step as usize)?.id.clone();
    let samples = record.samples(capture).ok()?;
    let channels: Vec<&Samples> = wave
        .of
        .iter()
        .filter_map(|point| samples.iter().find(|channel| channel.channel.point == point.name))
        .collect();
    let begin_s = begin_s(channels.iter().copied());
    let events = if wave.marks.is_empty() {
        timing_events(&channels, begin_s)
    } else {
        moments(record, *seq, wave, begin_s)
    };
    let around = around(&events);
    let trace = |(channel, point): (&&Samples, &Shown)| Trace {
        point: point.says.clone(),
        ..within(channel, begin_s, around)
    };
    let found = found(record, *seq, |name| wave.marks.iter().any(|mark| mark.name == name));
    let found = if found.is_empty() { found } else { format!(": {found}") };
    Some(Plot {
        name: capture.name.clone(),
        title: format!("{}{found}", wave.title),
        step: wave.step,
        id,
        pass: capture.pass.clone(),
        kind: PlotKind::Timing,
        asked: true,
        channels: channels.iter().zip(wave.of).map(trace).collect(),
        events,
        file: capture.file.clone(),
        sha256: capture.sha256.clone(),
    })
}

fn begin_s<'s>(channels: impl Iterator<Item = &'s Samples>) -> f64 {
    channels
        .map(|samples| seconds(samples.channel.first_sample))
        .fold(f64::INFINITY, f64::min)
}

/// The moments that readings of a capture rest on, each once, in order.
fn moments(record: &Record, capture: u64, wave: &Wave<'_>, begin_s: f64) -> Vec<(f64, String)> {
    // Points have the words that they have at their waves.
    let said = |what: &str| {
        let point = wave.of.iter().filter(|point| what.starts_with(&point.name));
        let point = point.max_by_key(|point| point.name.len());
        point.map_or_else(|| what.to_owned(), |point| what.replacen(&point.name, &point.says, 1))
    };
    let marked = record.events().iter().filter_map(|stamped| match &stamped.event {
        Event::Reading(reading) => Some(reading).filter(|reading| rests_on(reading, capture)),
        _ => None,
    });
    let mut all: Vec<(f64, String)> = marked
        .filter(|reading| wave.marks.iter().any(|mark| mark.name == reading.name))
        .flat_map(|reading| &reading.moments)
        .map(|moment| (seconds(moment.when) - begin_s, said(&moment.what)))
        .collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.cmp(&b.1)));
    all.dedup();
    all
}

fn has_timing(capture: &Capture) -> bool {
    let length_s = |channel: &CapturedChannel| channel.samples as f64 * channel.interval_s;
    capture.channels.len() > 1 || capture.channels.iter().any(|channel| length_s(channel) >= LONG_S)
}

fn has_pilot(capture: &Capture) -> bool {
    capture.channels.iter().any(|channel| channel.point == "pilot")
}

/// Whether a judgement that rests on this capture failed.
fn failed(record: &Record, capture: u64) -> bool {
    record.events().iter().any(|stamped| match &stamped.event {
        Event::Judged(judgement) if judgement.verdict == Verdict::Fail => {
            super::rows::reading_of(record, judgement.reading).is_some_and(|reading| rests_on(reading, capture))
        }
        _ => false,
    })
}

fn rests_on(reading: &Reading, capture: u64) -> bool {
    reading.from.values().any(|from| *from == capture)
}

fn plot(record: &Record, seq: u64, capture: &Capture, timing: bool) -> Option<Plot> {
    let channels = record.samples(capture).ok()?;
    let id = record
        .heading()
        .steps
        .get(capture.step as usize)
        .map(|head| head.id.clone())?;
    let begin_s = begin_s(channels.iter());
    let (title, kind, traces, events) = if timing {
        let events = timing_events(&channels.iter().collect::<Vec<_>>(), begin_s);
        let around = around(&events);
        let traces = channels
            .iter()
            .map(|samples| within(samples, begin_s, around))
            .collect();
        (found(record, seq, |_| true), PlotKind::Timing, traces, events)
    } else {
        let pilot = channels.iter().find(|samples| samples.channel.point == "pilot")?;
        let (from, to) = two_periods(pilot)?;
        let title = "pilot, two periods".to_owned();
        (
            title,
            PlotKind::PilotWaveform,
            vec![trace(pilot, begin_s, from, to)],
            Vec::new(),
        )
    };
    Some(Plot {
        name: capture.name.clone(),
        title,
        step: capture.step,
        id,
        pass: capture.pass.clone(),
        kind,
        asked: false,
        channels: traces,
        events,
        file: capture.file.clone(),
        sha256: capture.sha256.clone(),
    })
}

/// From a little before the first event to a little after the last; the whole capture where nothing happened.
fn around(events: &[(f64, String)]) -> (f64, f64) {
    match (events.first(), events.last()) {
        (Some((first, _)), Some((last, _))) => (first - BEFORE_S, last + AFTER_S),
        _ => (f64::NEG_INFINITY, f64::INFINITY),
    }
}

fn within(samples: &Samples, begin_s: f64, (from_s, to_s): (f64, f64)) -> Trace {
    let shift_s = seconds(samples.channel.first_sample) - begin_s;
    let count = samples.raw.len();
    let index = |at_s: f64| ((at_s - shift_s) / samples.channel.interval_s).clamp(0.0, count as f64) as usize;
    match (index(from_s), index(to_s)) {
        (from, to) if from < to => trace(samples, begin_s, from, to),
        _ => trace(samples, begin_s, 0, count),
    }
}

fn trace(samples: &Samples, begin_s: f64, from: usize, to: usize) -> Trace {
    let part = &samples.raw[from..to.min(samples.raw.len())];
    let bucket = part.len().div_ceil(MOST_POINTS).max(1);
    let shift_s = seconds(samples.channel.first_sample) - begin_s;
    let point = |(index, raw): (usize, &[i16])| {
        let middle = from as f64 + (index * bucket) as f64 + (raw.len() - 1) as f64 / 2.0;
        let values = raw.iter().map(|raw| samples.value(*raw));
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(v), high.max(v))
        });
        (shift_s + middle * samples.channel.interval_s, low, high)
    };
    Trace {
        point: samples.channel.point.clone(),
        unit: samples.channel.unit.clone(),
        points: part.chunks(bucket).enumerate().map(point).collect(),
    }
}

/// Two periods, from a little before a rising edge; `None` where there is no pulse.
fn two_periods(samples: &Samples) -> Option<(usize, usize)> {
    let low = i32::from(*samples.raw.iter().min()?);
    let high = i32::from(*samples.raw.iter().max()?);
    let middle = i32::midpoint(low, high);
    // Noise is no pulse: the levels of a pilot lie volts apart.
    if samples.channel.scale.abs() * f64::from(high - low) < LEVEL_CHANGE_V {
        return None;
    }
    let is_edge = |pair: &[i16]| i32::from(pair[0]) < middle && i32::from(pair[1]) >= middle;
    let mut edges = samples
        .raw
        .windows(2)
        .enumerate()
        .filter(|(_, pair)| is_edge(pair))
        .map(|(at, _)| at + 1);
    let first = edges.next()?;
    let period = edges.next()? - first;
    let from = first.saturating_sub(period / 10);
    Some((from, (from + 2 * period + period / 5).min(samples.raw.len())))
}

/// What was found in a capture, in words.
fn found(record: &Record, capture: u64, wanted: impl Fn(&str) -> bool) -> String {
    let found = record.events().iter().filter_map(|stamped| match &stamped.event {
        Event::Reading(reading) if rests_on(reading, capture) => Some(reading),
        _ => None,
    });
    let words = found.filter(|reading| wanted(&reading.name)).filter_map(|reading| {
        let measured = reading.value.clone()?;
        Some(format!(
            "{} = {}",
            reading.name,
            text::value_and_expanded(&Ok(measured), &reading.unit).0
        ))
    });
    words.take(4).collect::<Vec<_>>().join(", ")
}

/// Where the output comes and goes, and where the pilot changes its level.
fn timing_events(channels: &[&Samples], begin_s: f64) -> Vec<(f64, String)> {
    let mut events: Vec<(f64, String)> = channels
        .iter()
        .flat_map(|samples| channel_events(samples, begin_s))
        .collect();
    events.sort_by(|a, b| a.0.total_cmp(&b.0));
    events
}

fn channel_events(samples: &Samples, begin_s: f64) -> Vec<(f64, String)> {
    let point = &samples.channel.point;
    let at = |index: usize| seconds(samples.channel.first_sample) - begin_s + index as f64 * samples.channel.interval_s;
    if point == "pilot" {
        let change = level_change(samples).map(|index| (at(index), "pilot changes its level".to_owned()));
        return change.into_iter().collect();
    }
    let Some((first, last)) = presence(samples) else {
        return Vec::new();
    };
    let (before, after) = quiet_ends(samples);
    let long = |quiet: usize| quiet as f64 * samples.channel.interval_s >= QUIET_S;
    let mut events = Vec::new();
    if long(before) {
        events.push((at(first), format!("{point} comes")));
    }
    if long(after) {
        events.push((at(last), format!("{point} goes")));
    }
    events
}

/// How many samples at the beginning and at the end stay below a tenth of the greatest amplitude.
fn quiet_ends(samples: &Samples) -> (usize, usize) {
    let limit = greatest(samples) / 10.0;
    let quiet = |raw: &&i16| samples.value(**raw).abs() < limit;
    (
        samples.raw.iter().take_while(quiet).count(),
        samples.raw.iter().rev().take_while(quiet).count(),
    )
}

fn greatest(samples: &Samples) -> f64 {
    samples.values().fold(0.0, |most: f64, value| most.max(value.abs()))
}

/// First and last sample beyond half of the greatest amplitude.
fn presence(samples: &Samples) -> Option<(usize, usize)> {
    let amplitude = greatest(samples);
    let beyond = |value: f64| amplitude > 0.0 && value.abs() >= amplitude / 2.0;
    let first = samples.values().position(beyond)?;
    let after_last = samples.raw.iter().rev().position(|raw| beyond(samples.value(*raw)))?;
    Some((first, samples.raw.len() - 1 - after_last))
}

/// First window whose highest value is another level than that of the first window.
fn level_change(samples: &Samples) -> Option<usize> {
    let window = ((LEVEL_WINDOW_S / samples.channel.interval_s) as usize).max(1);
    let highest = |part: &[i16]| {
        part.iter()
            .map(|raw| samples.value(*raw))
            .fold(f64::NEG_INFINITY, f64::max)
    };
    let mut windows = samples.raw.chunks_exact(window).map(highest);
    let begin = windows.next()?;
    let changed = windows.position(|level| (level - begin).abs() > LEVEL_CHANGE_V)?;
    Some((changed + 1) * window)
}
