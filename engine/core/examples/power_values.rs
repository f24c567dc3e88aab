//! What the power analysis tells of samples on the standard input, for `tests/outside/check_power.py`.
//!
//! In: JSON with `interval_s`, `volts`, `amps`; for a direct side `out_volts` and `out_amps`; for its ripple `bandwidth_hz`; for
//! a surge of the current `above`. Out: JSON with `power`, `harmonics`, and what was asked for beside them.
#![allow(clippy::print_stdout, clippy::unwrap_used)]

use pilotage_core::power::{Grouping, Harmonics, Line, PowerAnalysis, ripple, surge};
use serde_json::{Value, json};

fn main() {
    let given: Value = serde_json::from_reader(std::io::stdin().lock()).unwrap();
    let samples = |name: &str| -> Option<Vec<f64>> {
        let list = given[name].as_array()?;
        Some(list.iter().map(|sample| sample.as_f64().unwrap()).collect())
    };
    let interval_s = given["interval_s"].as_f64().unwrap();
    let (volts, amps) = (samples("volts").unwrap(), samples("amps").unwrap());
    let line = Line::of(&volts, interval_s).unwrap();
    let analysis = PowerAnalysis::of(&volts, &amps, &line).unwrap();
    let mut told = json!({ "power": power(&line, &analysis), "harmonics": harmonics(&amps, &line) });
    if let (Some(out_volts), Some(out_amps)) = (samples("out_volts"), samples("out_amps")) {
        let output = PowerAnalysis::of(&out_volts, &out_amps, &line).unwrap();
        told["efficiency"] = json!(output.efficiency(&analysis).value);
        let found = ripple(&out_amps, interval_s, given["bandwidth_hz"].as_f64().unwrap()).unwrap();
        told["ripple"] = json!({"mean": found.mean, "rms": found.rms, "peak_to_peak": found.peak_to_peak});
    }
    if let Some(above) = given["above"].as_f64() {
        let found = surge(&amps, interval_s, above).unwrap();
        told["surge"] = json!({"peak": found.peak, "above_s": found.above_s, "square_time": found.square_time});
    }
    println!("{told}");
}

fn power(line: &Line, analysis: &PowerAnalysis) -> Value {
    let power = analysis.whole();
    json!({
        "frequency": line.frequency_hz(), "cycles": analysis.cycles(), "u": power.volts.rms, "i": power.amps.rms,
        "p": power.active_w, "s": power.apparent_va(), "n": power.non_active_var(), "factor": power.factor(),
        "displacement": power.displacement(), "angle": power.displacement_angle(), "crest": power.amps.crest(),
    })
}

/// Nothing where the capture is too short or the rate too low.
fn harmonics(amps: &[f64], line: &Line) -> Value {
    let Ok(found) = Harmonics::of(amps, line) else {
        return Value::Null;
    };
    let of = |grouping| {
        let orders: Vec<Option<f64>> = (1..=40)
            .map(|order| found.order(order, grouping).ok().map(|found| found.value))
            .collect();
        let value = |found: Result<pilotage_core::power::Estimate, _>| found.ok().map(|found| found.value);
        json!({
            "orders": orders, "thd": value(found.distortion(grouping)), "thc": value(found.total(grouping)),
            "pwhc": value(found.partial_weighted(grouping)), "podd": value(found.partial_odd(grouping)),
        })
    };
    json!({
        "windows": found.windows(), "line": of(Grouping::Line), "subgroup": of(Grouping::Subgroup),
        "group": of(Grouping::Group),
    })
}
