//! What keeps people from harm is refused where it is missing.

use crate::build::*;
use crate::refusals::{dead, live, mend_of, refused};
use pilotage_plan::files::sequence::*;
use pilotage_plan::fit::code;

#[test]
fn points_that_keep_people_from_harm_must_be_served() {
    for point in [
        "supply",
        "pilot_load",
        "burden",
        "reference",
        "reference.voltage",
        "reference.dc_voltage",
        "hard_wired_stop",
        "supply_contactor",
        "ac_input[L-PE].dc_voltage",
        "ac_output[N-PE].voltage",
    ] {
        let files = Files::new(dead(vec![hold("1 s")])).without_point(point);
        refused(&files, code::NOT_SERVED);
        assert!(files.fit().unwrap_err()[0].got.as_ref().unwrap().contains(point));
    }
}

#[test]
fn bare_mains_is_refused() {
    for connected in [None, Some("direct")] {
        let mut files = Files::new(dead(vec![hold("1 s")]));
        files.service("ac_output[L-N].voltage").connected = connected.map(sp);
        refused(&files, code::BARE_MAINS);
        let mut files = Files::new(dead(vec![capture(&["ac_output[L-N]"], "1 s", "1 kHz", vec![])]));
        files.service("ac_output[L-N]").connected = connected.map(sp);
        refused(&files, code::BARE_MAINS);
        let mut files = Files::new(dead(vec![read(&[("drop", "path[L].voltage")])]));
        files.service("path[L].voltage").connected = connected.map(sp);
        refused(&files, code::BARE_MAINS);
    }
}

#[test]
fn energising_has_its_duties() {
    let energising = || Files::new(live(Vec::new()));
    assert!(energising().fit().is_ok());
    let mut files = energising();
    files.sequence.cautions.clear();
    refused(&files, code::NO_CAUTION);
    let mut files = energising();
    files.sequence.interlocks.remove(0);
    refused(&files, code::NO_ENCLOSURE);
    let mut files = energising();
    files.sequence.interlocks[0] = InterlockText::Word {
        point: sp("enclosure"),
        must_be: sp("open"),
        every: f("50 ms"),
    };
    refused(&files, code::NO_ENCLOSURE);
    let mut files = energising();
    files.sequence.interlocks.remove(1);
    refused(&files, code::NO_STOP_PROOF);
    let mut files = energising();
    files.bench.supply_protected_by = None;
    refused(&files, code::NO_PROTECTION);
}

#[test]
fn a_quiet_sequence_owes_nothing() {
    let mut files = Files::new(dead(vec![ask_hands(), set("pilot_load", "state_C")]));
    files.sequence.cautions.clear();
    files.sequence.interlocks.clear();
    files.bench.supply_protected_by = None;
    assert!(files.fit().is_ok());
}

#[test]
fn hands_only_in_isolated() {
    refused(&Files::new(live(vec![ask_hands()])), code::HANDS);
    refused(
        &Files::new(live(vec![set("supply", "off"), prove_dead("ac_output"), ask_hands()])),
        code::HANDS,
    );
    assert!(Files::new(live(vec![isolate(), ask_hands()])).fit().is_ok());
}

#[test]
fn dead_measurements_only_in_isolated() {
    for point in ["path[L].resistance", "proximity.resistance"] {
        refused(&Files::new(live(vec![read(&[("r", point)])])), code::NOT_ISOLATED);
        assert!(Files::new(live(vec![isolate(), read(&[("r", point)])])).fit().is_ok());
    }
}

#[test]
fn the_benchs_own_resistor_is_read_apart_from_the_item() {
    let measure = || read(&[("r", "pilot_load.resistance")]);
    refused(&Files::new(dead(vec![measure()])), code::NOT_CHECKING);
    assert!(
        Files::new(dead(vec![set("pilot_load", "check"), measure()]))
            .fit()
            .is_ok()
    );
    refused(
        &Files::new(dead(vec![
            set("pilot_load", "check"),
            set("pilot_load", "state_A"),
            measure(),
        ])),
        code::NOT_CHECKING,
    );
}

fn loaded(current: &str, holds: &[&str]) -> Files {
    let mut acts = vec![
        set("pilot_load", "state_C"),
        set_to("load.current", current),
        set("load", "on"),
    ];
    acts.extend(holds.iter().map(|length| hold(length)));
    let mut files = Files::new(live(acts));
    files.sequence.protect.clear();
    files
}

#[test]
fn long_holds_under_load_want_a_watch_on_the_temperature() {
    assert!(loaded("32 A", &["60 s"]).fit().is_ok());
    assert!(loaded("16 A", &["600 s"]).fit().is_ok());
    refused(&loaded("32 A", &["61 s"]), code::HOT);
    refused(&loaded("17 A", &["40 s", "40 s"]), code::HOT);
    let mut files = loaded("32 A", &["600 s"]);
    files.sequence.protect = Files::new(Vec::new()).sequence.protect;
    assert!(files.fit().is_ok());
}

#[test]
fn a_protection_that_nobody_can_watch() {
    refused(
        &Files::new(dead(vec![hold("1 s")])).without_point("terminal.temperature"),
        code::UNWATCHED,
    );
}

#[test]
fn dead_is_proven_at_known_places() {
    assert_eq!(
        mend_of(&Files::new(dead(vec![prove_dead("ac_outlet")])), code::DEAD_PLACE),
        "did you mean `ac_output`?"
    );
    refused(&Files::new(live(vec![prove_dead("ac_input")])), code::DEAD_PLACE);
    assert!(
        Files::new(live(vec![set("supply", "off"), prove_dead("ac_input")]))
            .fit()
            .is_ok()
    );
}
