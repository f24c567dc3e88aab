//! A person wants the run to stop, at any moment.

use crate::bench::{Plot, run, undisturbed};
use crate::contradictions::contradictions;
use crate::draw::{Draw, on_all_cores};
use crate::size;
use pilotage_evidence::Event;
use std::time::{Duration, Instant};

#[test]
fn a_stop_at_any_moment_is_made_safe() {
    let began = Instant::now();
    let (fitted, item, whole) = undisturbed("wall_unit/quick_check");
    let ends = whole
        .events()
        .filter(|(_, event)| matches!(event, Event::StepEnded { .. }))
        .map(|(at, _)| at.seconds())
        .last();
    let ends = ends.unwrap();
    let moments = size(16, 200);
    let bad: Vec<String> = on_all_cores(moments, |number| {
        let mut draw = Draw::new("stop", number as u64);
        let after = draw.between(0.0, ends);
        let plot = Plot {
            seed: 1,
            stop_after: Some(Duration::from_secs_f64(after)),
            ..Plot::default()
        };
        let story = run(&fitted, &fitted.program, &item, &plot);
        let mut found = contradictions(&story);
        let outcome = story.outcome.unwrap();
        if outcome.exit_code != 4 || outcome.not_confirmed_dead.is_some() {
            found.push(format!(
                "exit code {}, {:?}",
                outcome.exit_code, outcome.not_confirmed_dead
            ));
        }
        (!found.is_empty()).then(|| format!("stopped after {after:.6} s: {}", found.join(" | ")))
    })
    .into_iter()
    .flatten()
    .collect();
    println!("{moments} stops, {:.1} s", began.elapsed().as_secs_f64());
    assert!(bad.is_empty(), "{}", bad.join("\n"));
}
