//! The guard of a charger's bench: the hard-wired stop and the open enclosure cut supply and sink, and nothing comes back by itself.

use crate::charger_plant::Plant;
use pilotage_virtual::physics::{Action, DcPair, Node};

const DC_V: Node = Node::Dc(DcPair::PlusMinus);

const WAYS: [(Action, Action); 2] = [
    (Action::Stop { pressed: true }, Action::Stop { pressed: false }),
    (Action::Enclosure { closed: false }, Action::Enclosure { closed: true }),
];

/// A charger that is asleep in front of a sink that holds 400 V.
fn held(changes: &[(&str, f64)]) -> Plant {
    let mut plant = Plant::new(changes);
    plant.act(Action::SinkVoltage(400.0));
    plant.act(Action::LoadCurrent(20.0));
    plant.act(Action::Load { on: true });
    plant.wait(1.0);
    assert!((plant.at(DC_V) - 400.0).abs() < 1e-9 && (plant.at(Node::AtSink) - 400.0).abs() < 1e-9);
    plant
}

/// Contactor of the sink closed, sink on.
fn switches(plant: &mut Plant) -> (bool, bool) {
    let words = plant.world.words(plant.now);
    (words.load_contactor_closed, words.load_on)
}

#[test]
fn stop_and_guard_cut_a_sink_that_holds_a_voltage_within_20_ms() {
    for (stop, restore) in WAYS {
        let mut plant = held(&[]);
        assert_eq!(switches(&mut plant), (true, true));
        plant.act(stop);
        plant.wait(0.02);
        assert_eq!(switches(&mut plant), (false, false), "{stop:?}");
        assert!(
            plant.at(DC_V).abs() < 1.0,
            "nothing holds the contacts: {}",
            plant.at(DC_V)
        );
        assert!(plant.at(Node::AtSink).abs() < 1e-9);
        plant.act(restore);
        plant.wait(1.0);
        assert_eq!(
            switches(&mut plant),
            (true, false),
            "the contactor comes back, the sink does not"
        );
        assert!(plant.at(DC_V).abs() < 1.0, "{stop:?}: {}", plant.at(DC_V));
    }
}

/// Switched on again with the guard open, the sink has its voltage for itself.
#[test]
fn behind_the_open_contactor_the_sink_holds_nothing_but_its_own_terminals() {
    let mut plant = held(&[]);
    plant.act(Action::Stop { pressed: true });
    plant.wait(1.0);
    plant.act(Action::Load { on: true });
    plant.wait(1.0);
    assert_eq!(switches(&mut plant), (false, true));
    assert!((plant.at(Node::AtSink) - 400.0).abs() < 1e-9 && plant.at(DC_V).abs() < 1.0);
    assert!(plant.at(Node::DcCurrent).abs() < 1e-9);
}

/// At rated power both go: the current ends, and the charger, whose input is gone too, stops.
#[test]
fn under_power_the_current_ends_with_the_contactors() {
    let mut plant = Plant::charging(&[], 350.0, 0.5);
    assert!(plant.mean(Node::DcCurrent) > 15.0);
    plant.act(Action::Stop { pressed: true });
    plant.wait(0.05);
    assert!(plant.at(Node::DcCurrent).abs() < 1e-9, "{}", plant.at(Node::DcCurrent));
    plant.act(Action::Stop { pressed: false });
    plant.wait(20.0);
    assert!(plant.mean(Node::DcCurrent).abs() < 1e-9 && plant.rms(Node::InCurrent) < 0.1);
}

/// A short press opens and closes within the time that the contactors take; both sources have gone off all the same.
#[test]
fn a_short_press_switches_the_sink_off_too() {
    let mut plant = held(&[]);
    plant.act(Action::Stop { pressed: true });
    plant.wait(0.005);
    plant.act(Action::Stop { pressed: false });
    plant.wait(0.5);
    assert_eq!(switches(&mut plant), (true, false));
    assert!(plant.at(DC_V).abs() < 1.0);
}

#[test]
fn a_welded_contactor_of_the_sink_shows_and_leaves_the_contacts_live() {
    let mut plant = held(&[("bench_load_contactor_welded", 1.0)]);
    plant.act(Action::Stop { pressed: true });
    plant.wait(1.0);
    assert_eq!(switches(&mut plant), (true, true));
    assert!(!plant.world.words(plant.now).supply_contactor_closed);
    assert!((plant.at(DC_V) - 400.0).abs() < 1e-9);
}
