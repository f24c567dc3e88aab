//! Demands on the bench leave room for what the drivers state and for U: a bench within its statements passes under either
//! decision rule, and no demand is judged by another rule than an item.

use crate::fit::{fit, shipped};
use crate::support::Place;
use serde_json::Value;
use std::collections::BTreeMap;

/// The bound farthest from zero, and half the width of the window; a single bound stands for a window from zero.
fn window(bounds: &Value) -> Option<(f64, f64)> {
    let bound = |word: &str| bounds[word].as_f64();
    match (bound("at_least"), bound("at_most")) {
        (Some(low), Some(high)) => Some((if low.abs() > high.abs() { low } else { high }, (high - low) / 2.0)),
        (Some(one), None) | (None, Some(one)) => Some((one, one.abs())),
        (None, None) => None,
    }
}

/// The sum of what the drivers state at a value: each printed limit is √3 of its standard uncertainty. An offset does not reach
/// the rms of a reference that alternates.
fn stated(limit: &Value, at: f64) -> f64 {
    let alternates = limit["reading"].as_str().unwrap().contains("ac_");
    let mut by_source: BTreeMap<&str, f64> = BTreeMap::new();
    for term in limit["terms"].as_array().unwrap() {
        let source = term["source"].as_str().unwrap();
        if alternates && source.ends_with(", offset") {
            continue;
        }
        let standard = term["relative"].as_f64().unwrap() * at + term["fixed_si"].as_f64().unwrap();
        *by_source.entry(source).or_default() += standard;
    }
    3f64.sqrt() * by_source.values().map(|standard| standard.abs()).sum::<f64>()
}

#[test]
fn a_bench_within_its_statements_passes_its_own_checks() {
    let place = Place::new();
    let (mut narrow, mut checked) = (Vec::new(), 0);
    for sequence in shipped() {
        for limit in fit(&place, &sequence)["limits"].as_array().unwrap() {
            let key = limit["limit"].as_str().unwrap();
            let Some(expanded) = limit["expanded_si"].as_f64().filter(|_| key.starts_with("bench.")) else {
                continue;
            };
            let (far, half) = window(&limit["bounds_si"]).unwrap();
            let stated = stated(limit, far);
            checked += 1;
            if half < stated + expanded {
                let reading = &limit["reading"];
                narrow.push(format!(
                    "{sequence}, {reading}, {key}: ±{half} is less than {stated} stated and U of {expanded}"
                ));
            }
        }
    }
    assert!(narrow.is_empty(), "{}", narrow.join("\n"));
    assert!(checked >= 40, "{checked} demands");
}
