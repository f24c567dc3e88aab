//! How fast the physics is: samples of the pilot at 20 MS/s, an hour of hold, a 4 s capture. Run with `--release`.
#![allow(clippy::print_stdout)]

use std::time::Instant;

use pilotage_core::RunTime;
use pilotage_virtual::physics::{Action, Node, Pair, PilotState, Setup, World};

fn main() {
    let Ok(mut world) = World::new(&Setup::default()) else {
        return;
    };
    let second = |s: u64| RunTime(s * 1_000_000_000);
    world.act(second(0), Action::Supply { on: true });
    world.act(second(2), Action::PilotLoad(PilotState::B));
    world.act(second(5), Action::PilotLoad(PilotState::C));
    world.act(second(6), Action::LoadCurrent(32.0));
    world.act(second(6), Action::Load { on: true });
    world.temperature_k(second(10));

    let mut values = Vec::with_capacity(20_000_000);
    let start = Instant::now();
    world.samples(Node::Pilot, second(9), 5e-8, 20_000_000, &mut values);
    println!("pilot: {:.0} MS/s at 20 MS/s", 20.0 / start.elapsed().as_secs_f64());

    values.clear();
    let start = Instant::now();
    world.samples(Node::Pilot, second(6), 5e-5, 80_000, &mut values);
    world.samples(Node::Out(Pair::LN), second(6), 5e-5, 80_000, &mut values);
    println!(
        "4 s at 20 kS/s, pilot and output: {:.2} ms",
        start.elapsed().as_secs_f64() * 1e3
    );

    let start = Instant::now();
    let kelvin = world.temperature_k(second(3700));
    println!(
        "an hour of hold: {:.3} ms, then {kelvin:.1} K",
        start.elapsed().as_secs_f64() * 1e3
    );

    let start = Instant::now();
    let volts = (0..1000)
        .map(|k| world.rms(Node::Out(Pair::LN), second(3600 + k % 90), second(3601 + k % 90)))
        .sum::<f64>();
    println!(
        "1000 readings of 1 s: {:.3} ms ({:.1} V)",
        start.elapsed().as_secs_f64() * 1e3,
        volts / 1000.0
    );
}
