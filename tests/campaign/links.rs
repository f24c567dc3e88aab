//! Replies that are late, lost, cut, doubled, damaged, or whose connection closes: never a wrong pass, never a hang, always
//! made safe, and said where it could not be confirmed.

use crate::bench::{Plot, Story, run, undisturbed};
use crate::contradictions::contradictions;
use crate::draw::{Draw, on_all_cores};
use crate::size;
use pilotage_bench::link::{Fault, FaultPlan};
use pilotage_core::uncertainty::expanded;
use pilotage_evidence::event::Reading;
use pilotage_evidence::{Event, Verdict};
use std::collections::BTreeMap;
use std::time::{Duration, Instant};

/// Step, pass, name and limit of a judgement; the same more than once counts up.
type Key = (u32, Option<String>, String, String, usize);

/// Every judged value with its expanded uncertainty, and whether it passed.
fn judged(story: &Story) -> BTreeMap<Key, (bool, Option<f64>, f64)> {
    let events: Vec<&Event> = story.events().map(|(_, event)| event).collect();
    let mut all = BTreeMap::new();
    for event in &events {
        let Event::Judged(judgement) = event else { continue };
        let Event::Reading(reading) = events[judgement.reading as usize] else {
            panic!("a judgement of no reading")
        };
        let key = |time| {
            (
                judgement.step,
                judgement.pass.clone(),
                judgement.name.clone(),
                judgement.limit.title.clone(),
                time,
            )
        };
        let time = (0..=all.len()).find(|time| !all.contains_key(&key(*time))).unwrap();
        let (value, u) = measured(reading);
        all.insert(key(time), (judgement.verdict == Verdict::Pass, value, u));
    }
    all
}

fn measured(reading: &Reading) -> (Option<f64>, f64) {
    let value = reading.value.as_ref().map(|measured| measured.value.si());
    let u = reading
        .value
        .as_ref()
        .and_then(|measured| expanded(&measured.uncertainty))
        .unwrap_or(0.0);
    (value, u)
}

fn plan(draw: &mut Draw, replies: &BTreeMap<String, u64>) -> (String, FaultPlan) {
    let names: Vec<&String> = replies.keys().collect();
    let name = names[draw.below(names.len() as u64) as usize].clone();
    let late = Duration::from_millis(1 + draw.below(4000));
    let kinds = [&Fault::WITHOUT_DELAY[..], &[Fault::Delay(late)]].concat();
    let kinds = if draw.once_in(3) {
        kinds
    } else {
        vec![kinds[draw.below(kinds.len() as u64) as usize]]
    };
    let one_in = [1, 2, 10, 50, 200][draw.below(5) as usize];
    let plan = FaultPlan {
        seed: draw.below(u64::MAX),
        one_in,
        spare_first: draw.below(replies[&name]),
        kinds,
    };
    (name, plan)
}

#[test]
fn no_fault_of_a_link_makes_a_wrong_pass_or_a_hang() {
    let began = Instant::now();
    let (fitted, item, whole) = undisturbed("wall_unit/quick_check");
    let good = judged(&whole);
    let runs = size(16, 1000);
    let results = on_all_cores(runs, |number| {
        let mut draw = Draw::new("link", number as u64);
        let (name, faults) = plan(&mut draw, &whole.replies);
        let about = format!("{number}: {name} {faults:?}");
        let plot = Plot {
            seed: 1,
            faults: BTreeMap::from([(name, faults)]),
            ..Plot::default()
        };
        let story = run(&fitted, &fitted.program, &item, &plot);
        let mut found = contradictions(&story);
        found.extend(wrong_passes(&good, &judged(&story)));
        let code = story.outcome.map_or(255, |outcome| outcome.exit_code);
        if code == 1 {
            found.push("a bad link is a failed item".to_owned());
        }
        (
            code,
            (!found.is_empty()).then(|| format!("{about}, exit code {code}: {}", found.join(" | "))),
        )
    });
    let mut codes: BTreeMap<u8, u32> = BTreeMap::new();
    for (code, _) in &results {
        *codes.entry(*code).or_insert(0) += 1;
    }
    println!(
        "{runs} runs with faults of a link, {:.1} s, exit codes {codes:?}",
        began.elapsed().as_secs_f64()
    );
    let bad: Vec<&String> = results.iter().filter_map(|(_, bad)| bad.as_ref()).collect();
    assert!(
        bad.is_empty(),
        "{} of {runs}:\n{}",
        bad.len(),
        bad.iter().map(|bad| bad.as_str()).collect::<Vec<_>>().join("\n")
    );
}

fn wrong_passes(
    good: &BTreeMap<Key, (bool, Option<f64>, f64)>,
    seen: &BTreeMap<Key, (bool, Option<f64>, f64)>,
) -> Vec<String> {
    let passed = seen.iter().filter(|(_, (passed, ..))| *passed);
    passed
        .filter_map(|(key, (_, value, u))| {
            let (_, wanted, wanted_u) = good.get(key)?;
            let (Some(value), Some(wanted)) = (value, wanted) else {
                return Some(format!("{key:?} passes without a value"));
            };
            let far = (value - wanted).abs() > 3.0 * u.max(*wanted_u) + 1e-9 * wanted.abs();
            far.then(|| format!("{} passes with {value} ± {u}, without a fault it is {wanted}", key.2))
        })
        .collect()
}
