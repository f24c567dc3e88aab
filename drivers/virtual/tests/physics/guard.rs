//! The bench's own guard: stop, door, isolator.

use crate::rig::Rig;
use pilotage_virtual::physics::{Action, Node, Pair};

fn trips(action: Action, undo: Action) {
    let mut rig = Rig::closed(&[]);
    rig.act(action);
    rig.wait(0.02);
    assert!(!rig.world.words(rig.now).supply_contactor_closed);
    rig.wait(0.3);
    assert!(rig.rms(Node::In(Pair::LN)) < 1e-9);
    rig.act(undo);
    rig.wait(1.0);
    let words = rig.world.words(rig.now);
    assert!(words.supply_contactor_closed && !words.supply_on, "{words:?}");
    assert!(rig.rms(Node::In(Pair::LN)) < 1e-9, "comes back only when commanded");
    rig.act(Action::Supply { on: true });
    rig.wait(0.3);
    assert!((rig.rms(Node::In(Pair::LN)) - 230.0).abs() < 0.1);
}

#[test]
fn pressed_stop_opens_the_supply_contactor_within_20_ms_and_nothing_restores_itself() {
    trips(Action::Stop { pressed: true }, Action::Stop { pressed: false });
}

#[test]
fn open_door_opens_the_supply_contactor_within_20_ms_and_nothing_restores_itself() {
    trips(Action::Enclosure { closed: false }, Action::Enclosure { closed: true });
}

#[test]
fn a_short_press_trips_too() {
    let mut rig = Rig::booted(&[]);
    rig.act(Action::Stop { pressed: true });
    rig.wait(0.005);
    rig.act(Action::Stop { pressed: false });
    rig.wait(0.5);
    assert!(!rig.world.words(rig.now).supply_on);
}

#[test]
fn the_supply_cannot_be_switched_on_against_the_guard() {
    let mut rig = Rig::new(&[]);
    rig.act(Action::Stop { pressed: true });
    rig.wait(1.0);
    rig.act(Action::Supply { on: true });
    rig.wait(1.0);
    assert!(!rig.world.words(rig.now).supply_on);
    assert!(rig.rms(Node::In(Pair::LN)) < 1e-9);
}

#[test]
fn a_locked_isolator_leaves_the_item_dead() {
    let mut rig = Rig::closed(&[]);
    rig.act(Action::Isolator { locked: true });
    rig.wait(1.0);
    assert!(rig.rms(Node::In(Pair::LN)) < 1e-9);
    assert!(rig.mean(Node::Pilot).abs() < 1e-6);
}
