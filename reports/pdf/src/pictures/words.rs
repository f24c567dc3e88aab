//! What a picture shows, as a text: for readers who cannot see it.

use pilotage_evidence::document::picture::{Picture, Shows, Spot, label, with_unit};
use std::fmt::Write;

/// A longer text is no help: the numbers stand in the annex.
const MOST_CHARS: usize = 2000;

/// The picture in words.
pub(super) fn told(picture: &Picture) -> String {
    let mut text = picture.title.clone();
    if !picture.held.is_empty() {
        let _ = write!(text, ", {}", picture.held);
    }
    text.push_str(". ");
    text.push_str(&parts(&picture.shows).join("; "));
    if text.chars().count() > MOST_CHARS {
        text = text.chars().take(MOST_CHARS).collect();
        text.push('…');
    }
    text
}

fn parts(shows: &Shows) -> Vec<String> {
    match shows {
        Shows::Map(map) => map
            .cells
            .iter()
            .map(|cell| {
                let at = |says: &str, unit: &str, value: f64| format!("{says} {} {unit}", label(value));
                format!(
                    "{}, {}: {}",
                    at(&map.across.says, &map.across.unit, map.columns[cell.column]),
                    at(&map.up.says, &map.up.unit, map.rows[cell.row]),
                    spot(&cell.spot)
                )
            })
            .collect(),
        Shows::Ladder(ladder) => ladder
            .series
            .iter()
            .flat_map(|series| {
                let point = |(at, found): &(f64, Spot)| {
                    let unit = &ladder.across.unit;
                    format!("{} at {} {unit}: {}", series.says, label(*at), spot(found))
                };
                series.points.iter().map(point).collect::<Vec<_>>()
            })
            .collect(),
        Shows::Bars(bars) => bars
            .bars
            .iter()
            .map(|bar| {
                format!("{} {}: {}", bars.along, bar.label, spot(&bar.spot))
                    .trim()
                    .to_owned()
            })
            .collect(),
        Shows::Course(course) => course
            .panels
            .iter()
            .flat_map(|panel| {
                let line = |line: &pilotage_evidence::document::picture::Line| {
                    let values = || line.pieces.iter().flatten().map(|moment| moment.value);
                    let (low, high) = (
                        values().fold(f64::INFINITY, f64::min),
                        values().fold(f64::NEG_INFINITY, f64::max),
                    );
                    let last = line.pieces.iter().flatten().last();
                    let name = with_unit(&line.says, &panel.unit);
                    last.map(|last| {
                        format!(
                            "{name}: {} to {}, {} at {} s",
                            short(low),
                            short(high),
                            short(last.value),
                            label(last.at_s.round())
                        )
                    })
                };
                panel.lines.iter().filter_map(line).collect::<Vec<_>>()
            })
            .collect(),
    }
}

fn spot(spot: &Spot) -> String {
    let verdict = spot.verdict.map(|verdict| format!(", {verdict}")).unwrap_or_default();
    format!("{}{verdict}", spot.text)
}

/// Four digits.
pub(super) fn short(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return "0".to_owned();
    }
    let digits = (3.0 - value.abs().log10().floor()).clamp(0.0, 9.0) as usize;
    let text = format!("{value:.digits$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// `≥ 93 %` where every judged place has the same bounds.
pub(super) fn one_limit(shows: &Shows) -> String {
    let (spots, unit): (Vec<&Spot>, &str) = match shows {
        Shows::Map(map) => (map.cells.iter().map(|cell| &cell.spot).collect(), &map.of.unit),
        Shows::Ladder(_) | Shows::Bars(_) | Shows::Course(_) => return String::new(),
    };
    let mut bounds: Vec<(Option<f64>, Option<f64>)> = spots
        .iter()
        .filter(|spot| spot.verdict.is_some())
        .map(|spot| (spot.low, spot.high))
        .collect();
    bounds.dedup();
    let text = match bounds.as_slice() {
        [(Some(low), Some(high))] => format!("{} … {}", label(*low), label(*high)),
        [(Some(low), None)] => format!("≥ {}", label(*low)),
        [(None, Some(high))] => format!("≤ {}", label(*high)),
        _ => return String::new(),
    };
    format!("{text} {unit}").trim_end().to_owned()
}
