//! The power side of a charger of 7.4 kW.

use super::charger_plant::Plant;
use pilotage_virtual::physics::{Action, Command, DcPair, Node, Pair, PilotSource};

#[test]
fn explore() {
    let mut plant = Plant::charging(&[], 400.0, 0.5333);
    for k in 0..5 {
        println!("{k} {:?}", plant.says());
        plant.wait(2.0);
    }
    println!("in {} W, {} A, {} V; dc {} V {} A", plant.input_w(), plant.rms(Node::InCurrent), plant.rms(Node::In(Pair::LN)),
        plant.mean(Node::Dc(DcPair::PlusMinus)), plant.mean(Node::DcCurrent));
    println!("{:?}", plant.truth());
}
