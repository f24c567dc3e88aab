//! The plain document of a run, as a reader of a report sees it.
#![allow(clippy::unwrap_used)]

mod common;

use pilotage_evidence::document::{Document, PlotKind, build};
use pilotage_evidence::sides::Strength;
use pilotage_evidence::{Record, Side, SideRule, SourceStatus, Verdict};
use std::fs;
use tempfile::tempdir;

fn rules() -> Vec<SideRule> {
    vec![SideRule {
        id: "path".to_owned(),
        if_failed: vec!["WU-40".to_owned()],
        if_inconclusive: Vec::new(),
        side: Side::WallUnit,
        kind: "level".to_owned(),
        says: "the path through the contactor is too long a resistance".to_owned(),
        cheapest_next: "tighten the terminals and measure again".to_owned(),
    }]
}

fn document() -> Document {
    let folder = tempdir().unwrap();
    build(&common::run(folder.path()), &rules())
}

#[test]
fn page_one_says_verdict_side_and_that_no_item_was_tested() {
    let document = document();
    assert_eq!(
        document.virtual_note.as_deref(),
        Some("virtual bench, no item was tested")
    );
    assert_eq!(
        document.virtual_detail.as_deref(),
        Some("defect W21 plain, seed 7, in memory, in virtual time")
    );
    assert_eq!((document.verdict, document.exit_code), (Verdict::Fail, Some(1)));
    assert_eq!(
        document.because,
        ["WU-40 contact path under load: fail: a limit was not met"]
    );
    assert_eq!(
        (document.side.side, document.side.strength),
        (Side::WallUnit, Strength::Likely)
    );
    assert_eq!(document.side.cheapest_next, "tighten the terminals and measure again");
    assert_eq!(document.counts[&Verdict::Pass], 3);
    assert_eq!(document.counts[&Verdict::Fail], 1);
    assert_eq!(document.said_first, Vec::<String>::new());
    assert_eq!(document.cautions[0].acknowledged_by.as_deref(), Some("J. Doe"));
    assert_eq!(document.bench.instruments[0].expected, Some(true));
    assert_eq!(document.not_tested[0].what, "WU-06");
}

#[test]
fn a_row_has_value_uncertainty_limit_margin_source_and_raw_replies() {
    let document = document();
    let row = &document.steps[0].rows[0];
    assert_eq!((row.value.as_str(), row.expanded.as_str()), ("8.980 V", "0.020 V"));
    assert_eq!(
        (row.limit.as_str(), row.margin.as_str()),
        ("8.477 … 9.489 V", "+0.503 V")
    );
    assert_eq!(row.source, "IEC 61851-1, 2017, Annex A, Table A.2; derived");
    assert_eq!(row.raw[0].received.as_deref(), Some("+8.98E0"));
    let path = &document.steps[1].rows[0];
    assert_eq!((path.verdict, path.unit.as_str()), (Verdict::Fail, "mΩ"));
    assert_eq!(path.numbers.high, Some(29.0));
    // 1.0 V / 31.9 A is 31.3 mΩ; the raw replies are those of both readings that went in.
    assert!(
        path.value.starts_with("31.3") && path.margin.starts_with("-2.35"),
        "{} {}",
        path.value,
        path.margin
    );
    let sent: Vec<&str> = path.raw.iter().map(|raw| raw.sent.as_str()).collect();
    assert_eq!(sent, ["READ? \"path[L].voltage\"", "READ? \"ac_output[L].current\""]);
}

#[test]
fn a_limit_from_memory_is_counted_and_marked() {
    let document = document();
    assert_eq!(document.source_counts[&SourceStatus::FromMemory], 1);
    let row = document.steps[0]
        .rows
        .iter()
        .find(|row| row.status == SourceStatus::FromMemory)
        .unwrap();
    assert_eq!(row.marks, ["limit from memory"]);
    assert_eq!(document.sources.len(), 4);
}

#[test]
fn dead_is_told_with_its_readings_and_proofs() {
    let document = document();
    let dead = &document.dead[0];
    assert!(dead.dead && dead.pairs.len() == 3 && dead.proofs.len() == 4);
    assert_eq!(
        (dead.pairs[0].pair.as_str(), dead.pairs[0].ac.as_str()),
        ("L-N", "0.200 V")
    );
    assert_eq!(dead.proofs[0], "50.100 V");
}

#[test]
fn the_pilot_is_drawn_for_two_periods_and_the_timing_with_its_events() {
    let document = document();
    assert_eq!(document.captures.len(), 2);
    let wave = document
        .captures
        .iter()
        .find(|plot| plot.kind == PlotKind::PilotWaveform)
        .unwrap();
    let points = &wave.channels[0].points;
    // 1 ms at 20 µs a sample: two periods are 100 samples, with a tenth before and after.
    assert_eq!(points.len(), 110);
    let timing = document
        .captures
        .iter()
        .find(|plot| plot.kind == PlotKind::Timing)
        .unwrap();
    assert_eq!(timing.title, "close_delay = 2.000 ms");
    assert_eq!(timing.events.len(), 1);
    assert!(
        (timing.events[0].0 - 2e-3).abs() < 1e-9 && timing.events[0].1 == "ac_output[L-N] comes",
        "{:?}",
        timing.events
    );
}

#[test]
fn no_trace_has_more_than_a_thousand_points_and_no_peak_is_lost() {
    let folder = tempdir().unwrap();
    common::write_run(folder.path());
    let record = Record::open(folder.path()).unwrap();
    for plot in build(&record, &[]).captures {
        for trace in plot.channels {
            assert!(trace.points.len() <= 1000);
            let highest = trace
                .points
                .iter()
                .map(|point| point.2)
                .fold(f64::NEG_INFINITY, f64::max);
            assert!(highest > 8.0, "{}", trace.point);
        }
    }
}

#[test]
fn the_state_map_goes_there_and_back() {
    let map = document().state_map.unwrap();
    assert_eq!((map.id.as_str(), map.points.len()), ("WU-26", 6));
    let back: Vec<bool> = map.points.iter().map(|point| point.back).collect();
    assert_eq!(back, [false, false, false, true, true, true]);
    let closed: Vec<Option<bool>> = map.points.iter().map(|point| point.closed).collect();
    assert_eq!(
        closed,
        [
            Some(false),
            Some(false),
            Some(true),
            Some(true),
            Some(false),
            Some(false)
        ]
    );
    assert_eq!(map.levels, [(8.0, "threshold".to_owned())]);
}

#[test]
fn the_evidence_holds_and_the_same_record_gives_the_same_document() {
    let (one, two) = (document(), document());
    assert!(one.evidence.sealed && one.evidence.findings.is_empty() && one.evidence.differences.is_empty());
    assert_eq!(one.evidence.head.len(), 64);
    assert_eq!(
        serde_json::to_string(&one).unwrap(),
        serde_json::to_string(&two).unwrap()
    );
}

#[test]
fn a_record_without_an_end_is_an_error_and_says_that_nothing_is_known_dead() {
    let folder = tempdir().unwrap();
    common::write_run(folder.path());
    fs::remove_file(folder.path().join("seal.json")).unwrap();
    let journal = folder.path().join("journal.txt");
    let text = fs::read_to_string(&journal).unwrap();
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    fs::write(&journal, lines[..lines.len() - 2].concat()).unwrap();
    let document = build(&Record::open(folder.path()).unwrap(), &[]);
    assert_eq!((document.verdict, document.exit_code), (Verdict::Error, None));
    assert!(
        document.said_first[0].contains("nothing is known to be dead"),
        "{:?}",
        document.said_first
    );
    assert!(document.because.last().unwrap().contains("no end"));
}

#[test]
fn an_altered_record_says_so_before_its_verdict() {
    let folder = tempdir().unwrap();
    common::write_run(folder.path());
    fs::write(folder.path().join("captures/more.i16"), b"xx").unwrap();
    let document = build(&Record::open(folder.path()).unwrap(), &[]);
    assert_eq!(
        document.said_first,
        ["This record does not hold: 1 findings, listed with the evidence."]
    );
}

#[test]
fn the_word_is_dead_and_never_the_other_one() {
    let text = serde_json::to_string(&document()).unwrap().to_lowercase();
    let without_the_procedure = text.replace("made_safe", "").replace("make safe", "");
    assert!(
        !without_the_procedure.contains("safe"),
        "only what was measured dead is said"
    );
}

#[test]
fn a_capture_that_describes_nonsense_is_drawn_or_left_out_and_never_panics() {
    use pilotage_evidence::RecordWriter;
    use pilotage_evidence::event::{Capture, CapturedChannel, Event};
    for (interval_s, scale, samples) in [
        (0.0, 1.0, 3),
        (1e300, 1.0, 3),
        (-1.0, 0.0, 3),
        (1e-5, 1e300, 3),
        (1e-5, 1.0, u64::MAX),
    ] {
        let folder = tempdir().unwrap();
        let mut out = RecordWriter::create(folder.path()).unwrap();
        out.append(common::at(0), Event::RunStarted(Box::new(common::heading(Vec::new()))))
            .unwrap();
        let (file, sha256) = out.store("c", &[vec![-9000, 9000, -9000], vec![0, 1, 0]]).unwrap();
        let channel = |point: &str| CapturedChannel {
            point: point.to_owned(),
            unit: "V".to_owned(),
            first_sample: common::at(5),
            interval_s,
            samples,
            offset: 0.0,
            scale,
            gain_standard: None,
            offset_standard: None,
            time_standard: None,
            delay_standard_s: None,
        };
        let capture = Capture {
            name: "c".to_owned(),
            step: 0,
            pass: None,
            file,
            sha256,
            channels: vec![channel("pilot"), channel("ac_output[L-N]")],
            exchanges: Vec::new(),
        };
        out.append(common::at(1), Event::Captured(capture)).unwrap();
        out.sync().unwrap();
        let document = build(&Record::open(folder.path()).unwrap(), &[]);
        assert_eq!(document.verdict, Verdict::Error);
        assert_eq!(document.captures.is_empty(), samples == u64::MAX);
    }
}
