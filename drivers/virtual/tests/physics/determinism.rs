//! The same setup and the same actions give the same bits, whoever else is looking.

use crate::rig::Rig;
use pilotage_core::RunTime;
use pilotage_virtual::physics::{
    Action, ItemSort, Node, Pair, PilotState, Pole, Setup, UnknownParameter, World, parameters,
};
use proptest::prelude::*;

/// A session; `probe` looks at many things at many times in between.
fn session(seed: u64, probe: bool) -> Vec<u64> {
    let changes = [("jitter", 0.002), ("p_fail", 0.3), ("r_pole", 0.012), ("v_hum", 0.05)];
    let mut rig = Rig::with_seed(&changes, seed);
    let mut found = Vec::new();
    rig.act(Action::Supply { on: true });
    for state in [
        PilotState::A,
        PilotState::B,
        PilotState::C,
        PilotState::B,
        PilotState::C,
        PilotState::A,
    ] {
        rig.load(state);
        for _ in 0..7 {
            let until = RunTime(rig.now.0 + 433_333_333);
            if probe {
                look_around(&mut rig, until);
            }
            rig.now = until;
            rig.draw(20.0);
        }
        for node in [Node::Pilot, Node::Out(Pair::LN), Node::Path(Pole::L), Node::OutCurrent] {
            found.push(rig.rms(node).to_bits());
            found.extend(rig.past(node, 0.05, 7e-6).into_iter().map(f64::to_bits));
        }
        found.push(rig.truth().terminal_k.to_bits());
    }
    found
}

fn look_around(rig: &mut Rig, until: RunTime) {
    let mut at = rig.now.0;
    while at < until.0 {
        let now = RunTime(at);
        rig.world.temperature_k(now);
        rig.world.words(now);
        rig.world
            .rms(Node::Path(Pole::N), RunTime(at.saturating_sub(20_000_000)), now);
        rig.world.samples(
            Node::Pilot,
            RunTime(at.saturating_sub(5_000_000)),
            1e-5,
            100,
            &mut Vec::new(),
        );
        at += 7_654_321;
    }
}

#[test]
fn the_same_seed_gives_the_same_bits_and_another_seed_does_not() {
    assert_eq!(session(5, false), session(5, false));
    assert_ne!(session(5, false), session(6, false));
}

#[test]
fn looking_changes_nothing() {
    assert_eq!(session(5, false), session(5, true));
}

#[test]
fn an_unknown_parameter_is_named_with_its_nearest() {
    let mut setup = Setup::default();
    setup.amounts.insert("r_sorce".into(), 1.0);
    let problem = World::new(&setup).unwrap_err();
    assert_eq!(
        problem,
        UnknownParameter::Name {
            name: "r_sorce".into(),
            nearest: "r_source"
        }
    );
    setup.amounts = [("c_source".to_owned(), 0.0)].into();
    assert!(matches!(World::new(&setup), Err(UnknownParameter::Value { .. })));
}

#[test]
fn the_table_is_consistent() {
    let mut names: Vec<&str> = parameters(ItemSort::WallUnit).map(|p| p.name).collect();
    names.sort_unstable();
    let count = names.len();
    names.dedup();
    assert_eq!(names.len(), count, "a name stands twice");
    for p in parameters(ItemSort::WallUnit) {
        assert!(p.healthy >= p.at_least && !p.meaning.is_empty(), "{}", p.name);
        if let Some((low, high)) = p.tolerance {
            assert!(low < p.healthy && p.healthy < high && low >= p.at_least, "{}", p.name);
        }
    }
}

#[test]
fn no_parameter_alone_breaks_the_world() {
    for parameter in parameters(ItemSort::WallUnit) {
        for value in [
            parameter.healthy * 0.1,
            parameter.healthy * 10.0,
            parameter.healthy + 1.0,
            parameter.at_least.max(-20.0),
        ] {
            if value < parameter.at_least {
                continue;
            }
            let mut rig = Rig::closed(&[(parameter.name, value)]);
            rig.draw(32.0);
            rig.wait(20.0);
            for node in [Node::Pilot, Node::Out(Pair::LN), Node::Path(Pole::L), Node::InCurrent] {
                let (rms, mean) = (rig.rms(node), rig.mean(node));
                assert!(
                    rms.is_finite() && mean.is_finite(),
                    "{} = {value}: {node:?} {rms} {mean}",
                    parameter.name
                );
                assert!(rig.past(node, 0.01, 1e-5).iter().all(|v| v.is_finite()));
            }
            assert!(rig.world.temperature_k(rig.now).is_finite());
            rig.load(PilotState::A);
            rig.wait(5.0);
        }
    }
}

fn action() -> impl Strategy<Value = Action> {
    let states = [
        PilotState::A,
        PilotState::B,
        PilotState::C,
        PilotState::D,
        PilotState::E,
        PilotState::Open,
        PilotState::Check,
        PilotState::Ladder,
    ];
    prop_oneof![
        proptest::sample::select(states.to_vec()).prop_map(Action::PilotLoad),
        (10.0..100_000.0_f64).prop_map(Action::PilotResistance),
        any::<bool>().prop_map(|shorted| Action::PilotDiode { shorted }),
        (0.0..5e-9_f64).prop_map(Action::PilotCapacitance),
        any::<bool>().prop_map(|on| Action::Supply { on }),
        (0.0..270.0_f64).prop_map(Action::SupplyVoltage),
        (45.0..65.0_f64).prop_map(Action::SupplyFrequency),
        any::<bool>().prop_map(|on| Action::Load { on }),
        (0.0..50.0_f64).prop_map(Action::LoadCurrent),
        any::<bool>().prop_map(|on| Action::Burden { on }),
        any::<bool>().prop_map(|closed| Action::Enclosure { closed }),
        any::<bool>().prop_map(|pressed| Action::Stop { pressed }),
        any::<bool>().prop_map(|locked| Action::Isolator { locked }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    /// Whatever happens: every value is finite, the pilot stays within its rails, a dead supply leaves a dead outlet,
    /// and a healthy item never has a live outlet unless it commands it or is still letting go.
    #[test]
    fn no_order_of_actions_breaks_the_world(actions in proptest::collection::vec((action(), 0.001..3.0_f64), 1..40)) {
        let mut rig = Rig::new(&[("v_hum", 0.1)]);
        rig.wait(0.2);
        for (action, span_s) in actions {
            rig.act(action);
            rig.wait(span_s);
            let from = RunTime(rig.now.0.saturating_sub(100_000_000));
            let mut values = Vec::new();
            for node in [Node::Pilot, Node::Out(Pair::LN), Node::Out(Pair::NPe), Node::Path(Pole::L), Node::OutCurrent] {
                rig.world.samples(node, from, 1e-5, 10_000, &mut values);
                prop_assert!(rig.world.rms(node, from, rig.now).is_finite());
                prop_assert!(rig.world.mean(node, from, rig.now).is_finite());
            }
            prop_assert!(values.iter().all(|v| v.is_finite()));
            prop_assert!(values[..10_000].iter().all(|v| v.abs() < 12.2));
            let truth = rig.truth();
            if !rig.world.words(rig.now).supply_on {
                prop_assert!(truth.conductors_v.values().all(|v| *v == 0.0), "{truth:?}");
            }
            if !truth.commanded && span_s > 0.2 {
                prop_assert!(!truth.pole_l && !truth.pole_n, "{truth:?}");
            }
        }
    }
}
