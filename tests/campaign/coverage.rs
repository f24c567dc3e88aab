//! What captures say of differences and ratios: the virtual instruments draw gain, offset, noise and rounding of each channel, and
//! what two readings of one voltage differ by must lie within the expanded uncertainty that is told of it, 95 times in 100.

use crate::bench::{Plot, run, shipped};
use crate::draw::on_all_cores;
use crate::random::fitted_text;
use crate::sequences::{GUARDS, HEAD};
use crate::size;
use pilotage::wiring::setup::setup;
use pilotage_core::uncertainty::expanded;
use pilotage_evidence::Event;
use std::collections::BTreeMap;

/// Two channels of one range and one of another on one voltage, AC and DC, twice.
const STEPS: &str = r#"steps:
  - step: one voltage on every channel
    id: RA-01
    do:
      - set: {capture_input: reference}
      - set: {reference: dc}
      - capture: {of: [pilot, "ac_output[L-N]", "ac_output[N-PE]"], for: 20 ms, rate: 50 kHz}
      - find:
          one: {level: pilot, take: mean}
          two: {level: "ac_output[L-N]", take: mean}
          three: {level: "ac_output[N-PE]", take: mean}
          swing_one: {level: pilot, take: span}
          swing_two: {level: "ac_output[L-N]", take: span}
          top: {level: "ac_output[L-N]", take: highest}
      - hold: 1 s
      - capture: {of: [pilot, "ac_output[L-N]", "ac_output[N-PE]"], for: 20 ms, rate: 50 kHz}
      - find:
          one_again: {level: pilot, take: mean}
          two_again: {level: "ac_output[L-N]", take: mean}
          bottom: {level: "ac_output[L-N]", take: lowest}
      - set: {reference: ac}
      - capture: {of: ["ac_output[L-N]", "ac_output[N-PE]"], for: 200 ms, rate: 5 kHz}
      - find:
          rms_two: {level: "ac_output[L-N]", take: rms}
          rms_three: {level: "ac_output[N-PE]", take: rms}
      - capture: {of: ["ac_output[L-N]"], for: 200 ms, rate: 5 kHz}
      - find: {rms_again: {level: "ac_output[L-N]", take: rms}}
      - judge:
          # Two channels: gains and offsets know nothing of each other. The pilot's divider may be wrong by 0.1 %.
          ratio_of_ranges: {value: 5 * $one / $two, at_least: 0.001, status: common practice}
          ratio_of_channels: {value: $two / $three, at_least: 0.001, status: common practice}
          difference_of_channels: {value: $two - $three, unit: V, at_most: 100 V, status: common practice}
          ratio_of_rms: {value: $rms_two / $rms_three, at_least: 0.001, status: common practice}
          # One channel twice: gain and offset are the same, noise and rounding are not.
          difference_of_times: {value: $one_again - $one, unit: V, at_most: 100 V, status: common practice}
          ratio_of_times: {value: $two_again / $two, at_least: 0.001, status: common practice}
          ratio_of_rms_of_times: {value: $rms_again / $rms_two, at_least: 0.001, status: common practice}
          top_to_bottom: {value: $top - $bottom, unit: V, at_most: 100 V, status: common practice}
"#;

/// What is told, and what is true of it.
const TRUTH: [(&str, f64); 10] = [
    ("ratio_of_ranges", 1.0),
    ("ratio_of_channels", 1.0),
    ("difference_of_channels", 0.0),
    ("ratio_of_rms", 1.0),
    ("difference_of_times", 0.0),
    ("ratio_of_times", 1.0),
    ("ratio_of_rms_of_times", 1.0),
    ("top_to_bottom", 0.0),
    ("swing_one", 0.0),
    ("swing_two", 0.0),
];

/// Error and expanded uncertainty of each.
fn told(fitted: &pilotage::fitting::Fitted, seed: u64) -> BTreeMap<String, (f64, f64)> {
    let text = format!("{HEAD}{}{STEPS}", GUARDS.replace("EVERY", "50 ms"));
    let program = fitted_text(fitted, &text).unwrap();
    let item = setup(&fitted.item, None, seed).unwrap();
    let plot = Plot {
        seed,
        ..Plot::default()
    };
    let story = run(fitted, &program, &item, &plot);
    let of = |name: &str, truth: f64| {
        let reading = story.events().find_map(|(_, event)| match event {
            Event::Reading(reading) if reading.name == name => reading.value.clone(),
            _ => None,
        });
        let measured = reading.unwrap_or_else(|| panic!("{name} has no value, seed {seed}"));
        let expanded = expanded(&measured.uncertainty).unwrap_or_else(|| panic!("{name}: unknown, seed {seed}"));
        (measured.value.si() - truth, expanded)
    };
    let all = TRUTH.iter();
    all.map(|(name, truth)| ((*name).to_owned(), of(name, *truth)))
        .collect()
}

#[test]
fn differences_and_ratios_of_captures_lie_within_what_is_told_of_them() {
    let fitted = shipped("wall_unit/quick_check");
    let seeds = size(60, 1000);
    let all = on_all_cores(seeds, |seed| told(&fitted, 1 + seed as u64));
    let mut bad = Vec::new();
    for (name, _) in TRUTH {
        let shares: Vec<f64> = all.iter().map(|told| told[name].0.abs() / told[name].1).collect();
        let covered = shares.iter().filter(|share| **share <= 1.0).count();
        let worst = shares.iter().copied().fold(0.0, f64::max);
        println!("{name}: {covered} of {seeds}, at most {worst:.2} U");
        // NaN (0 of 0) is no cover. What never comes near its U is told too wide: noise helps a mean over the steps of its converter, and
        // nothing tells beforehand whether it does.
        if covered * 100 < 95 * seeds || worst < 0.02 {
            bad.push(format!("{name}: {covered} of {seeds} within U, at most {worst:.3} U"));
        }
    }
    assert!(bad.is_empty(), "{}", bad.join("\n"));
}
