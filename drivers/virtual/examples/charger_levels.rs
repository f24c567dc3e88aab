//! What the virtual bench shows of a charger's pilot at an exact source, for comparison with a circuit simulator.
//!
//! ```text
//! charger_levels B|C CAPACITANCE_F present|shorted|missing|leaky
//! ```
//!
//! The charger is supplied, latched and offered 50 % by the same actions that the instruments send; in C it has closed S2 by itself.
//! Its waveform is sampled as a capture would be, and `pilotage_core::pulse` analyses the samples: no formula of the circuit stands
//! here. The source swings in 10 ns; `leaky` has 20 kΩ from the pilot to PE beside a good diode.
#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "an example talks to its terminal"
)]

use pilotage_core::RunTime;
use pilotage_core::pulse::analyse;
use pilotage_virtual::physics::{Action, ItemSort, Node, PilotSource, Setup, World};
use serde_json::json;
use std::process::ExitCode;

/// Capacitance of the bench itself, F; the charger has the rest.
const BENCH_F: f64 = 0.3e-9;
const INTERVAL_S: f64 = 1e-8;
/// Four periods of the pilot.
const SAMPLES: usize = 400_000;
const OFFERED: RunTime = RunTime(3_000_000_000);
const CAPTURED: RunTime = RunTime(9_000_000_000);

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match levels(&arguments) {
        Ok(line) => {
            println!("{line}");
            ExitCode::SUCCESS
        }
        Err(problem) => {
            eprintln!("charger_levels: {problem}");
            ExitCode::from(2)
        }
    }
}

/// A charger that is exact where the simulator's circuit is.
fn charger(total_f: f64, diode: &str) -> Result<Setup, String> {
    let mut amounts = vec![
        ("c_vehicle", total_f - BENCH_F),
        ("bench_c_source", BENCH_F),
        ("bench_t_rise", 8e-9),
        ("ambient", 298.15),
    ];
    match diode {
        "present" => {}
        "shorted" => amounts.push(("diode_shorted", 1.0)),
        "missing" => amounts.push(("diode_open", 1.0)),
        "leaky" => amounts.push(("r_cp_leak", 20e3)),
        other => return Err(format!("`{other}` is none of present, shorted, missing, leaky")),
    }
    Ok(Setup {
        item: ItemSort::OnboardCharger,
        amounts: amounts
            .into_iter()
            .map(|(name, value)| (name.to_owned(), value))
            .collect(),
        seed: 1,
        ..Setup::default()
    })
}

fn levels(arguments: &[String]) -> Result<String, String> {
    let [state, capacitance, diode] = arguments else {
        return Err("expected: B|C CAPACITANCE_F present|shorted|missing|leaky".to_owned());
    };
    let wants = match state.as_str() {
        "B" => false,
        "C" => true,
        other => return Err(format!("`{other}` is none of B, C")),
    };
    let total_f: f64 = capacitance
        .parse()
        .map_err(|error| format!("`{capacitance}`: {error}"))?;
    let mut world = World::new(&charger(total_f, diode)?).map_err(|error| error.to_string())?;
    world.act(RunTime::START, Action::LowVoltageLevel(12.0));
    world.act(RunTime::START, Action::LowVoltage { on: true });
    // Not latched it never closes S2.
    world.act(RunTime::START, Action::Proximity(wants.then_some(150.0)));
    world.act(OFFERED, Action::PilotSource(PilotSource::Pwm));
    if world.truth(CAPTURED).commanded != wants {
        return Err("S2 is not as the state wants it".to_owned());
    }
    let from = RunTime(CAPTURED.0 - (SAMPLES as f64 * INTERVAL_S * 1e9) as u64);
    let mut samples_v = Vec::new();
    world.samples(Node::Pilot, from, INTERVAL_S, SAMPLES, &mut samples_v);
    let pulse = analyse(&samples_v, INTERVAL_S).map_err(|lack| lack.to_string())?;
    let value = |found: &pilotage_core::pulse::Found| {
        found
            .as_ref()
            .map(|estimate| estimate.value)
            .map_err(ToString::to_string)
    };
    Ok(json!({
        "high_v": value(&pulse.high_v)?,
        "low_v": value(&pulse.low_v)?,
        "rise_s": value(&pulse.rise_s)?,
        "fall_s": value(&pulse.fall_s)?,
        "width_s": value(&pulse.width_at_zero_s)?,
    })
    .to_string())
}
