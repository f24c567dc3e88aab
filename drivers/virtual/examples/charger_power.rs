//! What the virtual bench shows of a charger's power side, for comparison with a circuit simulator and with a solver.
//!
//! ```text
//! charger_power inrush ANGLE_RAD [NAME=VALUE …]           current from the moment that the supply comes
//! charger_power dump BATTERY_V [NAME=VALUE …]             output from the moment that its sink goes
//! charger_power precharge BATTERY_V [NAME=VALUE …]        current into the capacitor of the output
//! charger_power discharge BATTERY_V [NAME=VALUE …]        output from a stop on
//! charger_power steady BATTERY_V AMPS [NAME=VALUE …]      ten periods of the AC pins and of the DC output at rest
//! ```
//!
//! The charger is supplied, latched and offered 32 A by the same actions that the instruments send, and everything is read as samples:
//! no formula of the circuit stands here.
#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "an example talks to its terminal"
)]

use pilotage_core::RunTime;
use pilotage_virtual::physics::{Action, Command, DcPair, ItemSort, Node, Pair, PilotSource, Setup, World};
use serde_json::{Value, json};
use std::process::ExitCode;

const DC_V: Node = Node::Dc(DcPair::PlusMinus);
/// When the supply comes, and when the charger has long been at rest.
const SUPPLIED_S: f64 = 4.0;
const AT_REST_S: f64 = 20.0;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match shown(&arguments) {
        Ok(line) => {
            println!("{line}");
            ExitCode::SUCCESS
        }
        Err(problem) => {
            eprintln!("charger_power: {problem}");
            ExitCode::from(2)
        }
    }
}

fn at(seconds: f64) -> RunTime {
    RunTime((seconds * 1e9).round() as u64)
}

fn number(text: &str) -> Result<f64, String> {
    text.parse().map_err(|_| format!("`{text}` is no number"))
}

struct Desk(World);

impl Desk {
    fn new(changes: &[String]) -> Result<Self, String> {
        let mut setup = Setup {
            item: ItemSort::OnboardCharger,
            seed: 1,
            ..Setup::default()
        };
        for change in changes {
            let (name, value) = change
                .split_once('=')
                .ok_or_else(|| format!("`{change}` is not NAME=VALUE"))?;
            setup.amounts.insert(name.to_owned(), number(value)?);
        }
        let mut desk = Self(World::new(&setup).map_err(|problem| problem.to_string())?);
        desk.act(0.0, Action::LowVoltage { on: true });
        desk.act(0.0, Action::Proximity(Some(150.0)));
        desk.act(0.0, Action::PilotSourceDuty(32.0 / 60.0));
        desk.act(0.0, Action::PilotSource(PilotSource::Pwm));
        Ok(desk)
    }

    fn act(&mut self, seconds: f64, action: Action) {
        self.0.act(at(seconds), action);
    }

    fn battery(&mut self, volts: f64) {
        self.act(0.0, Action::SinkVoltage(volts));
        self.act(0.0, Action::LoadCurrent(100.0));
        self.act(0.0, Action::Load { on: true });
    }

    fn samples(&mut self, node: Node, from_s: f64, interval_s: f64, count: usize) -> Vec<f64> {
        let mut out = Vec::new();
        self.0.samples(node, at(from_s), interval_s, count, &mut out);
        out
    }
}

fn shown(arguments: &[String]) -> Result<Value, String> {
    let (what, rest) = arguments.split_first().ok_or("give a case")?;
    let (first, rest) = rest.split_first().ok_or("give its first value")?;
    let first = number(first)?;
    match what.as_str() {
        "inrush" => {
            let mut desk = Desk::new(rest)?;
            // A little before, so that a rise through zero is the very next one.
            desk.act(SUPPLIED_S - 1e-4, Action::SupplyAngle(first));
            desk.act(SUPPLIED_S - 1e-4, Action::Supply { on: true });
            let from_s = SUPPLIED_S + first / core::f64::consts::TAU / 50.0;
            Ok(json!({"amps": desk.samples(Node::InCurrent, from_s, 1e-5, 6000)}))
        }
        "dump" => {
            let mut desk = Desk::new(rest)?;
            desk.battery(first);
            desk.act(SUPPLIED_S, Action::Supply { on: true });
            let amps = desk.0.mean(Node::DcCurrent, at(AT_REST_S - 0.2), at(AT_REST_S));
            desk.act(AT_REST_S, Action::Load { on: false });
            Ok(json!({"amps": amps, "volts": desk.samples(DC_V, AT_REST_S, 1e-6, 1000)}))
        }
        "precharge" => {
            let mut desk = Desk::new(rest)?;
            desk.battery(first);
            desk.act(SUPPLIED_S, Action::Supply { on: true });
            // The contacts show the battery; the capacitor behind the relay shows by the current that flows into it.
            let all = desk.samples(Node::DcCurrent, SUPPLIED_S, 1e-4, 30_000);
            let begin = all
                .iter()
                .position(|a| *a < -1e-3)
                .ok_or("the output is never charged")?;
            Ok(json!({"amps": &all[begin..begin + 2000]}))
        }
        "discharge" => {
            let mut desk = Desk::new(rest)?;
            desk.battery(first);
            desk.act(SUPPLIED_S, Action::Supply { on: true });
            desk.act(AT_REST_S, Action::Proximity(Some(480.0)));
            // Before the sink lets go, the contacts show what it holds.
            let off_s = AT_REST_S + 0.3;
            desk.act(off_s, Action::Load { on: false });
            let all = desk.samples(DC_V, off_s, 1e-3, 3000);
            let begin = all.iter().position(|v| *v < first - 1.0).ok_or("the output stays")?;
            Ok(json!({"volts": &all[begin..begin + 2000]}))
        }
        "steady" => {
            let (amps, rest) = rest.split_first().ok_or("give the current")?;
            let mut desk = Desk::new(rest)?;
            desk.battery(first);
            let command = Command {
                enabled: true,
                volts: 420.0,
                amps: number(amps)?,
            };
            desk.act(0.0, Action::Command(command));
            desk.act(SUPPLIED_S, Action::Supply { on: true });
            let mut all = |node: Node| desk.samples(node, AT_REST_S, 1e-4, 2000);
            let (volts, current) = (all(Node::In(Pair::LN)), all(Node::InCurrent));
            Ok(json!({"volts": volts, "amps": current, "dc_volts": all(DC_V), "dc_amps": all(Node::DcCurrent)}))
        }
        other => Err(format!(
            "`{other}` is none of inrush, dump, precharge, discharge, steady"
        )),
    }
}
