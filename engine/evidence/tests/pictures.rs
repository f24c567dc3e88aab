//! Pictures as data, exactly as they were read and judged, from a sealed record alone.
#![allow(clippy::unwrap_used)]

mod common;

use common::pictured::{LINES_V, LOADS, charger, class_a, efficiency, harmonic};
use pilotage_evidence::Verdict;
use pilotage_evidence::document::picture::{Picture, Shows, label};
use pilotage_evidence::document::{Document, PlotKind, build};
use tempfile::tempdir;

fn document() -> Document {
    let folder = tempdir().unwrap();
    build(&charger(folder.path()), &[])
}

fn titled<'d>(document: &'d Document, title: &str) -> &'d Picture {
    let mut all = document.pictures.iter();
    all.find(|picture| picture.title.starts_with(title))
        .unwrap_or_else(|| panic!("no picture is called {title}"))
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-9 * b.abs().max(1.0)
}

#[test]
fn a_map_has_a_cell_for_each_pair_with_value_uncertainty_bound_and_verdict() {
    let document = document();
    let picture = titled(&document, "Efficiency");
    assert_eq!((picture.id.as_str(), picture.held.as_str()), ("OB-30", ""));
    let Shows::Map(map) = &picture.shows else {
        panic!("a map expected")
    };
    assert_eq!(map.columns, LOADS);
    assert_eq!(map.rows, LINES_V);
    assert_eq!((map.across.says.as_str(), map.across.unit.as_str()), ("load", "%"));
    assert_eq!((map.up.says.as_str(), map.up.unit.as_str()), ("supply voltage", "V"));
    assert_eq!(map.of.unit, "%");
    assert_eq!(map.cells.len(), 15);
    for cell in &map.cells {
        let wanted = efficiency(LOADS[cell.column], LINES_V[cell.row]);
        let spot = &cell.spot;
        assert!(close(spot.value.unwrap(), wanted), "{spot:?}");
        assert!(close(spot.expanded.unwrap(), 0.2), "{spot:?}");
        assert_eq!((spot.low, spot.high, cell.times), (Some(90.0), None, 1));
        let verdict = if wanted >= 90.0 { Verdict::Pass } else { Verdict::Fail };
        assert_eq!(spot.verdict, Some(verdict));
    }
    // The seq leads to the reading.
    let row = document.steps[0]
        .rows
        .iter()
        .find(|row| row.reading == map.cells[0].spot.seq);
    assert_eq!(row.unwrap().value, map.cells[0].spot.text);
}

#[test]
fn what_nobody_judged_has_no_verdict() {
    let document = document();
    let Shows::Map(map) = &titled(&document, "Power factor").shows else {
        panic!("a map expected")
    };
    for cell in &map.cells {
        let judged = LOADS[cell.column] >= 50.0;
        assert_eq!(cell.spot.verdict.is_some(), judged, "{cell:?}");
        assert_eq!(cell.spot.low.is_some(), judged);
    }
    assert_eq!(map.of.unit, "");
}

#[test]
fn a_ladder_has_its_points_their_bounds_and_the_rule_in_the_unit_of_its_axis() {
    let document = document();
    let Shows::Ladder(ladder) = &titled(&document, "Current against").shows else {
        panic!("a ladder expected")
    };
    let [series] = ladder.series.as_slice() else {
        panic!("one series expected")
    };
    let at: Vec<String> = series.points.iter().map(|(at, _)| label(*at)).collect();
    assert_eq!(at, ["10", "16", "25", "40", "53.3", "66.7", "80", "89.2", "96"]);
    let (_, fifth) = &series.points[4];
    // IEC 61851-1, Table A.8: 53.3 % is 32 A, less 0.02 A of rounding.
    assert!(close(fifth.high.unwrap(), 31.98) && close(fifth.value.unwrap(), 0.97 * 31.98));
    assert_eq!(fifth.verdict, Some(Verdict::Pass));
    assert_eq!(series.points[8].1.verdict, Some(Verdict::Fail));
    let rule = ladder.rule.as_ref().unwrap();
    assert!(close(rule.points[0].0, 10.0) && close(rule.points[0].1, 6.0));
    assert!(close(rule.points[86].0, 96.0) && close(rule.points[86].1, 80.0));
}

#[test]
fn harmonics_are_bars_by_their_number_each_with_its_limit() {
    let document = document();
    let Shows::Bars(bars) = &titled(&document, "Harmonics").shows else {
        panic!("bars expected")
    };
    assert!(bars.logarithmic && bars.along == "harmonic order" && bars.unit == "A");
    assert_eq!(bars.bars.len(), 39);
    for (order, bar) in (2..=40).zip(&bars.bars) {
        assert_eq!(bar.label, order.to_string());
        assert!(close(bar.spot.value.unwrap(), harmonic(order)), "{bar:?}");
        assert!(close(bar.spot.high.unwrap(), class_a(order)), "{bar:?}");
        let verdict = if order == 11 { Verdict::Fail } else { Verdict::Pass };
        assert_eq!(bar.spot.verdict, Some(verdict), "{bar:?}");
    }
}

#[test]
fn a_course_has_a_panel_for_each_unit_over_the_time_of_its_step() {
    let document = document();
    let Shows::Course(course) = &titled(&document, "An hour").shows else {
        panic!("a course expected")
    };
    let units: Vec<(&str, usize)> = course
        .panels
        .iter()
        .map(|panel| (panel.unit.as_str(), panel.lines.len()))
        .collect();
    assert_eq!(units, [("°C", 2), ("A", 1)]);
    let coolant = &course.panels[0].lines[0];
    assert_eq!((coolant.says.as_str(), coolant.pieces.len()), ("coolant out", 1));
    let piece = &coolant.pieces[0];
    assert_eq!(piece.len(), 61);
    assert!(close(piece[0].value, 23.0) && close(piece[0].expanded.unwrap(), 0.6));
    assert!((piece[60].at_s - 3600.0).abs() < 5.0 && piece[0].at_s < 1.0);
    assert_eq!(course.panels[1].bounds, [13.0]);
}

#[test]
fn a_wave_marks_the_moments_that_its_readings_rest_on() {
    let document = document();
    let dip = document.captures.iter().find(|plot| plot.id == "OB-47").unwrap();
    assert_eq!(dip.kind, PlotKind::Timing);
    assert!(
        dip.title
            .starts_with("Half a second at 40 % of the supply: hold_up = 31"),
        "{}",
        dip.title
    );
    assert!(dip.title.contains("recovery = 120"), "{}", dip.title);
    let points: Vec<&str> = dip.channels.iter().map(|channel| channel.point.as_str()).collect();
    assert_eq!(points, ["supply", "output current"]);
    let at: Vec<u64> = dip.events.iter().map(|(at_s, _)| (at_s * 1e3).round() as u64).collect();
    assert_eq!(at, [150, 181, 650, 770]);
    assert_eq!(dip.events[1].1, "output current falls through 1 A");
    assert_eq!(document.captures.len(), 1, "nothing is drawn twice");
}

#[test]
fn pictures_are_numbers_in_json_too() {
    let document = document();
    let json = serde_json::to_value(&document.pictures).unwrap();
    assert_eq!(json[0]["shows"]["form"], "map");
    assert_eq!(json[0]["shows"]["cells"][0]["spot"]["verdict"], "fail");
    assert_eq!(json.as_array().unwrap().len(), 5);
}

#[test]
fn a_record_without_values_of_passes_has_no_pictures_and_opens() {
    let folder = tempdir().unwrap();
    let document = build(&common::run(folder.path()), &[]);
    assert!(document.pictures.is_empty());
    // What a heading and a reading had before they knew of pictures.
    let step = r#"{"number":0,"id":"WU-13","title":"t","place":"p","fail_means":null,"look_next":[]}"#;
    let head: pilotage_evidence::heading::StepHead = serde_json::from_str(step).unwrap();
    assert!(head.pictures.is_empty());
}
