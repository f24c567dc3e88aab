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
use pilotage::wiring::setup::{Given, setup};
use pilotage_evidence::{Event, Side, Verdict};
use std::collections::BTreeMap;

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

const FLAWS: [(&str, f64, Found); 13] = [
    ("meter_exchanged", 1.0, Found::Bench(5)),
    // Within what the meter states.
    ("meter_offset", 0.02, Found::Unseen),
    // BC-04: the meter on nothing.
    ("meter_offset", 4.0, Found::Bench(5)),
    ("meter_offset", -1.0, Found::Bench(5)),
    ("meter_offset", -40.0, Found::Bench(6)),
    ("meter_repeats", 1.0, Found::Bench(6)),
    ("meter_ac_tau", 0.5, Found::Bench(6)),
    // BC-14: a step of AC, too small a tail to hide the reference.
    ("meter_ac_tau", 0.06, Found::Bench(5)),
    // BC-05: capture instrument and meter on the reference.
    ("scope_probe", 0.1, Found::Bench(5)),
    ("scope_probe", 10.0, Found::Bench(5)),
    // BC-15: one common edge on all channels. What is shorter than the edge of the record, and what is longer.
    ("scope_skew", 0.002, Found::Bench(5)),
    ("scope_skew", 0.2, Found::Bench(5)),
    ("guard_stuck", 1.0, Found::Bench(5)),
];

#[test]
fn a_bad_bench_is_not_a_bad_item() {
    let welded = all_defects()
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
        let item = setup(&fitted.item, given, 1).unwrap();
        let plot = Plot {
            seed: 1,
            flaws: BTreeMap::from([(name.to_owned(), value)]),
            ..Plot::default()
        };
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
            flaws: BTreeMap::from([(name.to_owned(), value)]),
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
