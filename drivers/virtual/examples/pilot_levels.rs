//! What the virtual bench shows of one pilot circuit, for comparison with a circuit simulator.
//!
//! ```text
//! pilot_levels STATE CAPACITANCE_F present|shorted|missing
//! ```
//!
//! The world is booted and loaded by the same actions that the instruments send, its waveform is sampled as a capture
//! would be, and `pilotage_core::pulse` analyses the samples: no formula of the circuit stands here. The item is set to
//! 30 A (50 % duty) and is ideal where the simulator's circuit is: no jitter, no timer steps, no cable, a source that swings
//! in 10 ns. A diode that is missing leaves the resistor's branch open.
#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "an example talks to its terminal"
)]

use pilotage_core::RunTime;
use pilotage_core::pulse::{Found, PulseParameters, analyse};
use pilotage_virtual::physics::{Action, Node, PilotState, Setup, World};
use serde_json::json;
use std::process::ExitCode;

/// Capacitance of the item itself, F; the bench adds what is missing to the total, as its switched capacitors do.
const ITEM_F: f64 = 0.3e-9;
const INTERVAL_S: f64 = 1e-8;
/// Four periods of the pilot.
const SAMPLES: usize = 400_000;
/// Long after booting (1.5 s) and authorisation (1 s) of the item.
const LOADED: RunTime = RunTime(3_000_000_000);
const CAPTURED: RunTime = RunTime(6_000_000_000);

#[derive(Clone, Copy, PartialEq)]
enum Diode {
    Present,
    Shorted,
    Missing,
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments_of(&arguments).and_then(|(state, total_f, diode)| levels(state, total_f, diode)) {
        Ok(line) => {
            println!("{line}");
            ExitCode::SUCCESS
        }
        Err(problem) => {
            eprintln!("pilot_levels: {problem}");
            ExitCode::from(2)
        }
    }
}

fn arguments_of(arguments: &[String]) -> Result<(PilotState, f64, Diode), String> {
    let [state, capacitance, diode] = arguments else {
        return Err("expected: A|B|C|D CAPACITANCE_F present|shorted|missing".to_owned());
    };
    let state = match state.as_str() {
        "A" => PilotState::A,
        "B" => PilotState::B,
        "C" => PilotState::C,
        "D" => PilotState::D,
        other => return Err(format!("`{other}` is none of A, B, C, D")),
    };
    let diode = match diode.as_str() {
        "present" => Diode::Present,
        "shorted" => Diode::Shorted,
        "missing" => Diode::Missing,
        other => return Err(format!("`{other}` is none of present, shorted, missing")),
    };
    let total_f: f64 = capacitance
        .parse()
        .map_err(|error| format!("`{capacitance}`: {error}"))?;
    if total_f < ITEM_F {
        return Err(format!("{total_f} F is less than the item's own {ITEM_F} F"));
    }
    Ok((state, total_f, diode))
}

fn levels(state: PilotState, total_f: f64, diode: Diode) -> Result<String, String> {
    let mut world = World::new(&item()).map_err(|error| error.to_string())?;
    world.act(RunTime::START, Action::Supply { on: true });
    world.act(LOADED, Action::PilotCapacitance(total_f - ITEM_F));
    world.act(
        LOADED,
        Action::PilotDiode {
            shorted: diode == Diode::Shorted,
        },
    );
    world.act(
        LOADED,
        Action::PilotLoad(if diode == Diode::Missing {
            PilotState::Open
        } else {
            state
        }),
    );
    // The world advances to the moment up to which it is asked.
    world.truth(CAPTURED);
    let from = RunTime(CAPTURED.0 - (SAMPLES as f64 * INTERVAL_S * 1e9) as u64);
    let mut samples_v = Vec::new();
    world.samples(Node::Pilot, from, INTERVAL_S, SAMPLES, &mut samples_v);
    let pulse = analyse(&samples_v, INTERVAL_S).map_err(|lack| lack.to_string())?;
    shown(&pulse)
}

/// An item that is authorised, signals 50 %, and runs its PWM whatever it sees at the pilot.
fn item() -> Setup {
    let amounts = [
        ("rated_current", 30.0),
        ("cable_length", 0.0),
        ("c_source", ITEM_F),
        ("t_rise", 8e-9),
        ("jitter", 0.0),
        ("t_tick", 0.0),
        ("pwm_in_a", 1.0),
        ("accepts_d", 1.0),
        ("check_vneg", 0.0),
        ("ambient", 298.15),
    ];
    Setup {
        amounts: amounts.map(|(name, value)| (name.to_owned(), value)).into(),
        seed: 1,
        ..Setup::default()
    }
}

fn shown(pulse: &PulseParameters) -> Result<String, String> {
    let value = |found: &Found| {
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
