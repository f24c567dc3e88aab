//! What the virtual bench shows of one power path, for comparison with another solver of the same network.
//!
//! ```text
//! mains_levels tn|tt|it single|split open|closed LOAD_A [NAME=VALUE …]
//! ```
//!
//! The world is booted and loaded by the same actions that the instruments send; every voltage and current is the rms over
//! whole periods. `NAME=VALUE` sets a parameter of the virtual item, in SI units. No formula of the network stands here.
#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "an example talks to its terminal"
)]

use pilotage_core::RunTime;
use pilotage_virtual::physics::{Action, ItemSort, Node, Pair, PilotState, Pole, Setup, World};
use serde_json::{Map, Value};
use std::collections::BTreeMap;
use std::process::ExitCode;

/// Long after booting (1.5 s), authorisation (1 s) and closing of the item.
const OFFERED: RunTime = RunTime(3_000_000_000);
const CLOSED: RunTime = RunTime(6_000_000_000);
const LOADED: RunTime = RunTime(9_000_000_000);
/// Whole periods of 50 and 60 Hz.
const SPAN: (RunTime, RunTime) = (RunTime(10_000_000_000), RunTime(10_100_000_000));

const NODES: [(&str, Node); 10] = [
    ("in L-N", Node::In(Pair::LN)),
    ("in L-PE", Node::In(Pair::LPe)),
    ("in N-PE", Node::In(Pair::NPe)),
    ("out L-N", Node::Out(Pair::LN)),
    ("out L-PE", Node::Out(Pair::LPe)),
    ("out N-PE", Node::Out(Pair::NPe)),
    ("path L", Node::Path(Pole::L)),
    ("path N", Node::Path(Pole::N)),
    ("out current", Node::OutCurrent),
    ("in current", Node::InCurrent),
];

/// One power path.
struct Case {
    setup: Setup,
    closed: bool,
    load_a: f64,
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match case(&arguments).and_then(|case| levels(&case)) {
        Ok(line) => {
            println!("{line}");
            ExitCode::SUCCESS
        }
        Err(problem) => {
            eprintln!("mains_levels: {problem}");
            ExitCode::from(2)
        }
    }
}

fn case(arguments: &[String]) -> Result<Case, String> {
    let [earthing, phases, state, load, amounts @ ..] = arguments else {
        return Err("expected: tn|tt|it single|split open|closed LOAD_A [NAME=VALUE …]".to_owned());
    };
    let words = [("earthing", earthing), ("phases", phases)];
    Ok(Case {
        setup: Setup {
            item: ItemSort::WallUnit,
            amounts: amounts.iter().map(|text| amount(text)).collect::<Result<_, _>>()?,
            words: words
                .into_iter()
                .map(|(name, word)| (name.to_owned(), word.clone()))
                .collect(),
            seed: 1,
        },
        closed: state == "closed",
        load_a: load.parse().map_err(|_| format!("{load} is no current in A"))?,
    })
}

fn amount(text: &str) -> Result<(String, f64), String> {
    let (name, value) = text
        .split_once('=')
        .ok_or_else(|| format!("{text} is not NAME=VALUE"))?;
    let value = value.parse().map_err(|_| format!("{value} is no number"))?;
    Ok((name.to_owned(), value))
}

fn levels(case: &Case) -> Result<String, String> {
    let mut world = World::new(&case.setup).map_err(|problem| problem.to_string())?;
    world.act(RunTime::START, Action::Supply { on: true });
    if case.closed {
        world.act(OFFERED, Action::PilotLoad(PilotState::B));
        world.act(CLOSED, Action::PilotLoad(PilotState::C));
        world.act(LOADED, Action::LoadCurrent(case.load_a));
        world.act(LOADED, Action::Load { on: case.load_a > 0.0 });
    }
    let (from, to) = SPAN;
    let mut shown: BTreeMap<&str, f64> = NODES
        .iter()
        .map(|(name, node)| (*name, world.rms(*node, from, to)))
        .collect();
    shown.insert("PE", world.truth(to).conductors_v["in.PE"]);
    let shown: Map<String, Value> = shown
        .into_iter()
        .map(|(name, rms)| (name.to_owned(), rms.into()))
        .collect();
    Ok(Value::from(shown).to_string())
}
