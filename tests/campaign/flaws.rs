//! A bad bench is not a bad item: what a flaw of an instrument makes of a healthy item.

use crate::bench::{Plot, run, shipped};
use crate::contradictions::contradictions;
use crate::draw::on_all_cores;
use pilotage::wiring::setup::setup;
use pilotage_evidence::{Event, Side, Verdict};
use std::collections::BTreeMap;

#[test]
fn a_bad_bench_is_not_a_bad_item() {
    let flaws = [
        ("meter_exchanged", 1.0),
        ("meter_offset", 0.02),
        ("meter_offset", 5.0),
        ("meter_offset", -40.0),
        ("meter_repeats", 1.0),
        ("meter_ac_tau", 0.5),
        ("scope_probe", 0.1),
        ("scope_probe", 10.0),
        ("scope_skew", 0.2),
        ("guard_stuck", 1.0),
    ];
    let sequences = ["wall_unit/quick_check", "wall_unit/acceptance_single_phase"];
    let out = on_all_cores(flaws.len() * 2, |index| {
        let (name, value) = flaws[index / 2];
        let fitted = shipped(sequences[index % 2]);
        let item = setup(&fitted.item, None, 1).unwrap();
        let plot = Plot {
            seed: 1,
            flaws: BTreeMap::from([(name.to_owned(), value)]),
            ..Plot::default()
        };
        let story = run(&fitted, &fitted.program, &item, &plot);
        let mut text = format!(
            "{name} {value} {}: exit {:?}",
            sequences[index % 2],
            story.outcome.as_ref().map(|outcome| outcome.exit_code)
        );
        for (_, event) in story.events() {
            if let Event::StepEnded {
                step,
                verdict,
                because,
                side,
            } = event
            {
                if !matches!(verdict, Verdict::Pass | Verdict::NotRun) {
                    text += &format!("\n   step {step} {verdict:?} {side:?} {because:?}");
                }
            }
            if let Event::Judged(judgement) = event {
                if judgement.verdict != Verdict::Pass {
                    text += &format!("\n   {} {:?}", judgement.name, judgement.verdict);
                }
            }
        }
        let _ = Side::Bench;
        text + &contradictions(&story).join(" | ")
    });
    out.iter().for_each(|text| println!("{text}"));
}
