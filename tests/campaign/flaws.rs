//! A bad bench is not a bad item: what flaws of the instruments make of a healthy item, and of one with all poles welded.
//!
//! The table says what the bench checks of today see, and, as plainly, what they do not see. A flaw that is not seen may
//! even blame the item: that is written here, so that a check that closes the gap makes this test fail and the row change.

use crate::bench::{Plot, run, shipped};
use crate::contradictions::contradictions;
use crate::draw::on_all_cores;
use crate::size;
use pilotage::args::SeverityWord;
use pilotage::fitting::all_defects;
use pilotage::shipped::Shelves;
use pilotage::wiring::setup::{Given, setup};
use pilotage_evidence::document::{self, Row};
use pilotage_evidence::record::JournalWriter;
use pilotage_evidence::rejudge::rejudge;
use pilotage_evidence::{Event, Record, Side, Verdict};

/// What becomes of a flaw on a healthy item.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Found {
    /// The run ends with this exit code, as an error of side bench.
    Bench(u8),
    /// Nothing notices it. Every verdict is as on a healthy bench.
    Unseen,
    /// Nothing notices it, and the item is blamed.
    Blamed,
}

const FLAWS: [(&str, f64, Found); 23] = [
    ("meter_exchanged", 1.0, Found::Bench(5)),
    // Within what the meter states.
    ("meter_offset", 0.02, Found::Unseen),
    // BC-04: the meter on nothing.
    ("meter_offset", 4.0, Found::Bench(5)),
    ("meter_offset", -1.0, Found::Bench(5)),
    ("meter_offset", -40.0, Found::Bench(6)),
    ("meter_repeats", 1.0, Found::Bench(6)),
    ("meter_ac_tau", 0.5, Found::Bench(6)),
    // BC-10: a number where there should be an overload (B11), a range that is not taken (B03).
    ("meter_overload", 12.0, Found::Bench(5)),
    ("meter_own_range", 1.0, Found::Bench(5)),
    // BC-14: a step of AC, too small a tail to hide the reference.
    ("meter_ac_tau", 0.06, Found::Bench(5)),
    // BC-05: capture instrument and meter on the reference.
    ("scope_probe", 0.1, Found::Bench(5)),
    ("scope_probe", 10.0, Found::Bench(5)),
    ("scope_probe_pilot", 0.1, Found::Bench(5)),
    ("scope_probe_pilot", 0.96, Found::Bench(5)),
    // BC-07: the leads of the bench's diode exchanged (B01), the diode open, the relay that shorts it dead.
    ("bench_diode_reversed", 1.0, Found::Bench(5)),
    ("bench_diode_broken", 1.0, Found::Bench(5)),
    ("bench_diode_never_shorted", 1.0, Found::Bench(5)),
    // BC-17: the path of the burden open (B30). Ghost voltages would be taken for a live connector.
    ("bench_burden", 1e9, Found::Bench(5)),
    // BC-13 and WU-40: a load that draws less than it is set to (B22).
    ("load_fold", 20.0, Found::Bench(5)),
    ("load_fold", 31.0, Found::Bench(5)),
    // BC-15: one common edge on all channels. What is shorter than the edge of the record, and what is longer.
    ("scope_skew", 0.002, Found::Bench(5)),
    ("scope_skew", 0.2, Found::Bench(5)),
    ("guard_stuck", 1.0, Found::Bench(5)),
];

#[test]
fn a_bad_bench_is_not_a_bad_item() {
    let welded = all_defects(&Shelves::default())
        .unwrap()
        .into_iter()
        .map(|(_, defect)| defect)
        .find(|defect| defect.id.value == "W19")
        .unwrap();
    let sequences = ["wall_unit/quick_check", "wall_unit/acceptance_single_phase"].map(shipped);
    let count = size(1, 2);
    let cases = FLAWS.len() * count * 2;
    let bad: Vec<String> = on_all_cores(cases, |index| {
        let (name, value, wanted) = FLAWS[index % FLAWS.len()];
        let fitted = &sequences[index / FLAWS.len() % count];
        let healthy = index < FLAWS.len() * count;
        let given = (!healthy).then_some(Given {
            defect: &welded,
            severity: SeverityWord::Plain,
        });
        let mut item = setup(&fitted.item, given, 1).unwrap();
        let mut plot = Plot {
            seed: 1,
            ..Plot::default()
        };
        // What is wired beside the instruments is of the world.
        let of_world = name.starts_with("bench_");
        let flaws = if of_world { &mut item.amounts } else { &mut plot.flaws };
        flaws.insert(name.to_owned(), value);
        let story = run(fitted, &fitted.program, &item, &plot);
        let mut wrong = contradictions(&story);
        let code = story.outcome.as_ref().map_or(255, |outcome| outcome.exit_code);
        let by_bench = story.events().any(|(_, event)| {
            matches!(
                event,
                Event::StepEnded {
                    verdict: Verdict::Error,
                    side: Some(Side::Bench),
                    ..
                }
            )
        });
        let item_blamed = story.events().any(|(_, event)| {
            matches!(
                event,
                Event::StepEnded {
                    verdict: Verdict::Fail,
                    ..
                }
            )
        });
        let found = match code {
            0 => Found::Unseen,
            5 | 6 if by_bench && !item_blamed => Found::Bench(code),
            _ => Found::Blamed,
        };
        if healthy && found != wanted {
            wrong.push(format!("{found:?} ({code}) instead of {wanted:?}"));
        }
        if !healthy && code == 0 {
            wrong.push("all poles are welded, and it passes".to_owned());
        }
        (!wrong.is_empty()).then(|| format!("{name} {value}, healthy: {healthy}: {}", wrong.join(" | ")))
    })
    .into_iter()
    .flatten()
    .collect();
    assert!(bad.is_empty(), "{} of {cases}:\n{}", bad.len(), bad.join("\n"));
}

/// An instrument that drifts after the check at the start (B07) is found by the check at the end, and nothing that was read in
/// between counts: neither what blames the item nor what praises it.
#[test]
fn an_instrument_that_drifts_during_the_run_takes_every_verdict_with_it() {
    let fitted = shipped("wall_unit/quick_check");
    let item = setup(&fitted.item, None, 1).unwrap();
    for (drift, blamed) in [(0.08, true), (0.04, false)] {
        let plot = Plot {
            seed: 1,
            flaws: [("scope_drift", drift), ("drift_after", 30.0)]
                .map(|(name, value)| (name.to_owned(), value))
                .into(),
            ..Plot::default()
        };
        let story = run(&fitted, &fitted.program, &item, &plot);
        assert_eq!(contradictions(&story), Vec::<String>::new());
        let outcome = story.outcome.as_ref().unwrap();
        assert_eq!((outcome.verdict, outcome.exit_code), (Verdict::Error, 5));
        assert!(!outcome.codes.contains(&1), "{:?}", outcome.codes);
        let mut writer = JournalWriter::new(Vec::new(), "journal.txt");
        for (at, event) in story.events() {
            writer.append(at, event.clone()).unwrap();
        }
        let record = Record::from_bytes(&writer.into_sink().unwrap(), "journal.txt").unwrap();
        assert_eq!(rejudge(&record), Vec::new());
        let journalled = story
            .events()
            .any(|(_, event)| matches!(event, Event::StepEnded { verdict, .. } if *verdict == Verdict::Fail));
        assert_eq!(journalled, blamed, "what the step came to stays in the journal");
        let document = document::build(&record, &[]);
        assert_eq!(
            (document.side.side, document.counts.get(&Verdict::Fail)),
            (Side::Bench, None)
        );
        let first = document.steps.iter().position(|step| step.id == "BC-05").unwrap();
        let last = document.steps.iter().rposition(|step| step.id == "BC-05").unwrap();
        for step in &document.steps[first + 1..last] {
            assert_eq!(step.verdict, Verdict::Inconclusive, "{}", step.id);
            assert!(step.rows.iter().all(|row| row.verdict == Verdict::Inconclusive));
            let says = |row: &Row| row.marks.iter().any(|mark| mark.starts_with("void: BC-05"));
            assert!(step.rows.iter().all(says), "{}", step.id);
        }
    }
}

/// The same at a charger without high voltage: what the bench checks see ends the run before it can blame the item.
#[test]
fn a_bad_small_workshop_is_not_a_bad_charger() {
    let fitted = shipped("onboard_charger/no_high_voltage");
    let item = setup(&fitted.item, None, 1).unwrap();
    let cases = [
        ("meter_exchanged", 1.0, 5),
        // BC-07: the pilot source by the meter.
        ("meter_offset", 1.0, 5),
        ("meter_offset", -0.06, 5),
        ("meter_repeats", 1.0, 5),
        // An offset enters every level alike and leaves R2, R3 and the diode alone.
        ("meter_offset", 0.015, 0),
    ];
    for (name, value, wanted) in cases {
        let plot = Plot {
            seed: 1,
            flaws: [(name.to_owned(), value)].into(),
            ..Plot::default()
        };
        let story = run(&fitted, &fitted.program, &item, &plot);
        let code = story.outcome.as_ref().map_or(255, |outcome| outcome.exit_code);
        assert_eq!(code, wanted, "{name} {value}");
        let blamed = |event: &Event| {
            matches!(
                event,
                Event::StepEnded {
                    verdict: Verdict::Fail,
                    ..
                }
            )
        };
        assert!(!story.events().any(|(_, event)| blamed(event)), "{name} {value}");
    }
}
