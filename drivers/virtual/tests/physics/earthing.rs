//! TN, TT and IT differ in what stands on the conductors, not only in a word of the nameplate (IEC 60364-1, 312.2).

use crate::rig::Rig;
use pilotage_virtual::physics::{Action, Generator, ItemSort, Node, Pair, PilotState, Setup};

/// Charging with nothing drawn, by the word of the nameplate.
fn closed(earthing: &str, changes: &[(&str, f64)]) -> Rig {
    let mut rig = at_rest(earthing, changes);
    rig.load(PilotState::B);
    rig.wait(3.0);
    rig.load(PilotState::C);
    rig.wait(2.0);
    rig
}

fn at_rest(earthing: &str, changes: &[(&str, f64)]) -> Rig {
    let mut rig = Rig::of(&Setup {
        item: ItemSort::WallUnit,
        amounts: changes.iter().map(|&(name, value)| (name.to_owned(), value)).collect(),
        words: [("earthing".to_owned(), earthing.to_owned())].into(),
        seed: 1,
    });
    rig.act(Action::Supply { on: true });
    rig.wait(3.0);
    rig
}

/// L-N, L-PE, N-PE at the outlet.
fn pairs(rig: &mut Rig) -> [f64; 3] {
    [Pair::LN, Pair::LPe, Pair::NPe].map(|pair| rig.rms(Node::Out(pair)))
}

fn near(found: [f64; 3], expected: [f64; 3], within: f64) {
    for (found_v, expected_v) in found.into_iter().zip(expected) {
        assert!((found_v - expected_v).abs() < within, "{found:?} {expected:?}");
    }
}

#[test]
fn tn_holds_neutral_and_protective_conductor_together() {
    near(pairs(&mut closed("tn", &[])), [230.0, 230.0, 0.0], 0.1);
}

#[test]
fn tt_shows_what_others_put_on_the_neutral() {
    // L-PE = L-N + N-PE, since the neutral is raised in phase with L.
    near(pairs(&mut closed("tt", &[])), [230.0, 232.0, 2.0], 0.1);
    near(
        pairs(&mut closed("tt", &[("v_neutral", -5.0)])),
        [230.0, 225.0, 5.0],
        0.1,
    );
}

#[test]
fn it_floats_in_the_middle_of_its_capacitances() {
    let mut rig = closed("it", &[("r_it", 1e9)]);
    near(pairs(&mut rig), [230.0, 115.0, 115.0], 0.5);
    rig.act(Action::Burden { on: true });
    rig.wait(0.3);
    let [_, line, neutral] = pairs(&mut rig);
    assert!(
        (line - neutral).abs() < 0.5,
        "equal burdens leave the middle: {line} {neutral}"
    );
}

#[test]
fn a_fault_to_earth_pulls_the_line_down_in_it_and_not_in_tn() {
    let fault = [("r_iso", 100.0)];
    near(pairs(&mut closed("tn", &fault)), [230.0, 230.0, 0.0], 1.0);
    let [line_to_line, line, neutral] = pairs(&mut closed("it", &fault));
    assert!((line_to_line - 230.0).abs() < 1.0);
    assert!(line < 1.0 && (neutral - 230.0).abs() < 1.0, "{line} {neutral}");
}

#[test]
fn a_fault_to_earth_in_tt_drives_its_current_through_both_earths() {
    // 230 V over 69 Ω of fault, 30 Ω of electrode and 1 Ω of the source's earth: 2.3 A.
    let mut rig = closed(
        "tt",
        &[
            ("r_iso", 69.0),
            ("v_neutral", 0.0),
            ("z_source", 0.0),
            ("l_source", 0.0),
        ],
    );
    let [_, line, neutral] = pairs(&mut rig);
    assert!((line - 2.3 * 69.0).abs() < 0.3, "{line}");
    assert!((neutral - 2.3 * 31.0).abs() < 0.3, "{neutral}");
    assert!((rig.truth().conductors_v["in.PE"] - 2.3 * 30.0).abs() < 0.3);
}

#[test]
fn a_welded_neutral_alone_is_seen_at_the_outlet_only_where_it_floats() {
    let neutral = |earthing: &str| {
        let mut rig = at_rest(earthing, &[("pole_n_stuck", 1.0)]);
        rig.act(Action::Burden { on: true });
        rig.wait(0.3);
        rig.rms(Node::Out(Pair::NPe))
    };
    assert!(neutral("tn") < 1.0);
    assert!(neutral("tt") < 3.0);
    assert!(neutral("it") > 60.0, "{}", neutral("it"));
}

#[test]
fn an_electrode_counts_for_the_watch_on_the_protective_conductor() {
    let generator = |earthing: &str| at_rest(earthing, &[("r_electrode", 800.0)]).truth().generator;
    assert_eq!(generator("tt"), Generator::Low);
    assert_eq!(generator("tn"), Generator::High);
}

#[test]
fn nothing_stands_anywhere_while_the_supply_is_off() {
    for earthing in ["tn", "tt", "it"] {
        let mut rig = closed(earthing, &[]);
        rig.act(Action::Supply { on: false });
        rig.wait(1.0);
        assert!(
            rig.truth().conductors_v.values().all(|volts| *volts == 0.0),
            "{earthing}"
        );
    }
}
