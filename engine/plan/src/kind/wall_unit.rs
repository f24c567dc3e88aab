//! The table of wall units: a supply before them, a vehicle's pilot and a load behind them.

use super::columns::{A, OHM, PointShape, V, captured, isolated_only, mains, needed, read_amount, set_amount, switch};
use super::table::{Asks, Bound, DeadPlace, KindTable, Line, MakeSafe, Pairs};
use super::{common, pilot};
use crate::energy::{BenchState, PilotShown};
use crate::fit::code;
use crate::program::{Order, Setting};
use pilotage_core::Dimension;
use pilotage_evidence::EnergyState;
use std::time::Duration;

/// An item must open within 100 ms (state A after C); the wait is that and 100 ms more.
const OPENS_WITHIN: Duration = Duration::from_millis(200);

/// What captures looks at the item and at no reference, in the next run too.
const LOOK_AT_ITEM: Line = Line::Word("capture_input", "item");

/// The table.
pub(super) static TABLE: KindTable = KindTable {
    points: &[POINTS, pilot::POINTS, common::POINTS],
    energy,
    // A wall unit that is wired to its mains closes when it is asked to, whoever supplies it.
    sources: &["supply", "load", "pilot_load"],
    dead: &[
        DeadPlace {
            at: "ac_output",
            pairs: Pairs::Mains,
            fed: false,
            output: true,
            behind_lock: false,
            asks: Some(Asks {
                how: "the pilot load asks the item to close",
                expected: "a pilot load that asks for nothing (state_A, state_B, state_E or open), or the supply off",
                got: "a pilot load of state C or D, or a ladder of at most 2.5 kΩ",
                mend: "put `set: {pilot_load: state_B}` before it; to see that an item stays open in C or D, use `must_not`",
            }),
        },
        DeadPlace {
            at: "ac_input",
            pairs: Pairs::Mains,
            fed: true,
            output: false,
            behind_lock: true,
            asks: None,
        },
    ],
    bounds: &[
        // The tolerance of supplies, ±10 % (IEC 60038).
        Bound {
            point: "supply.voltage",
            plate: Some("supply_voltage"),
            above: 1.1,
            code: code::SUPPLY_TOO_HIGH,
            supplied_only: false,
        },
        // No shipped step asks for more than an overload of 1.6.
        Bound {
            point: "load.current",
            plate: Some("rated_current"),
            above: 1.6,
            code: code::LOAD_TOO_HIGH,
            supplied_only: false,
        },
    ],
    contactors: &[common::SUPPLY_CONTACTOR],
    rated_load: "rated_current",
    load_drives: false,
    make_safe: MakeSafe {
        // Load away, pilot to A, wait for the item, supply off. The diode comes back, so that the next run begins as it expects to.
        normal: &[
            Line::Zero("load.current"),
            Line::Word("load", "off"),
            Line::Word("pilot_load", "state_A"),
            LOOK_AT_ITEM,
            Line::Wait(OPENS_WITHIN),
            Line::SupplyOffUnlessDead("ac_output"),
            Line::Word("supply", "off"),
            Line::Word("pilot_load.diode", "normal"),
        ],
        emergency: &[
            Line::Word("supply", "off"),
            Line::Zero("load.current"),
            Line::Word("load", "off"),
            Line::Word("pilot_load", "state_A"),
            LOOK_AT_ITEM,
            Line::Wait(OPENS_WITHIN),
        ],
        isolate: &[
            Line::Zero("load.current"),
            Line::Word("load", "off"),
            Line::Word("pilot_load", "state_A"),
            Line::Word("pilot_load.diode", "normal"),
            Line::Word("supply", "off"),
            LOOK_AT_ITEM,
        ],
    },
    by_hand: ("the connector and everything wired to it", "the connector"),
    needs: "supply, pilot load, burden, reference, interlocks and every pair, AC and DC",
};

/// Point, setting → energising?, state after.
fn energy(state: BenchState, order: &Order) -> (bool, BenchState) {
    match (order.point.as_str(), &order.to) {
        ("supply", Setting::Word(word)) if word == "off" => (false, state.supply_off()),
        ("supply", _) => (true, supply_switched_on(state)),
        ("supply.voltage" | "supply.frequency", _) => (state.supply_on, state),
        ("pilot_load.capacitance" | "pilot_load.angle" | "capture_input", _) => (false, state),
        ("pilot_load", Setting::Word(word)) => pilot_word(state, word),
        ("pilot_load.resistance", Setting::Amount(value, _)) => pilot_load(state, PilotShown::Ladder(value.si())),
        ("pilot_load.diode", _) => pilot_diode(state),
        ("load", Setting::Word(word)) if word == "off" => (
            false,
            BenchState {
                load_on: false,
                ..state
            },
        ),
        ("load", Setting::Word(word)) if word == "on" => (state.may_be_live(), BenchState { load_on: true, ..state }),
        ("load.current", Setting::Amount(value, _)) => (
            value.si() != 0.0 && state.may_be_live(),
            state.with_load_current(value.si()),
        ),
        _ => state.unknown_order(),
    }
}

/// An item with a welded contactor is live at once, so switching on leaves nothing proven.
fn supply_switched_on(state: BenchState) -> BenchState {
    let energy = match (state.pilot.asks(), state.energy) {
        (true, _) | (_, EnergyState::Live) => EnergyState::Live,
        _ => EnergyState::Unknown,
    };
    BenchState {
        supply_on: true,
        energy,
        places_dead: 0,
        ..state
    }
}

fn pilot_word(state: BenchState, word: &str) -> (bool, BenchState) {
    let pilot = match word {
        "state_A" | "state_B" | "open" | "check" => PilotShown::Waiting,
        "state_E" => PilotShown::Shorted,
        _ => PilotShown::Asking,
    };
    let (energising, after) = pilot_load(state, pilot);
    (
        energising,
        BenchState {
            pilot_checked: word == "check",
            ..after
        },
    )
}

/// Asking is quiet only in *isolated*: a supply that is off by command alone may still be there.
fn pilot_load(state: BenchState, pilot: PilotShown) -> (bool, BenchState) {
    let changed = BenchState {
        pilot,
        pilot_checked: false,
        ..state
    };
    if state.is_isolated() {
        return (false, changed);
    }
    if pilot.asks() {
        return (true, changed.live());
    }
    (false, changed.no_longer_live())
}

/// Shorting and restoring alike: an item that waits for a diode in state C closes when it comes.
fn pilot_diode(state: BenchState) -> (bool, BenchState) {
    if state.is_isolated() || state.pilot == PilotShown::Waiting {
        return (false, state);
    }
    (true, if state.pilot.asks() { state.live() } else { state })
}

/// Single or split phase.
const POINTS: &[PointShape] = &[
    switch("supply", &["on", "off"], true, "supply of the item"),
    set_amount("supply.voltage", V, "voltage of the supply"),
    set_amount("supply.frequency", Dimension::FREQUENCY, "frequency of the supply"),
    read_amount("supply.current", A, "current out of the supply"),
    needed(mains(read_amount(
        "ac_input[pair].voltage",
        V,
        "AC voltage at the item's input",
    ))),
    needed(mains(read_amount(
        "ac_input[pair].dc_voltage",
        V,
        "DC voltage at the item's input",
    ))),
    needed(mains(read_amount(
        "ac_output[pair].voltage",
        V,
        "AC voltage at the connector",
    ))),
    needed(mains(read_amount(
        "ac_output[pair].dc_voltage",
        V,
        "DC voltage at the connector",
    ))),
    isolated_only(read_amount(
        "ac_output[pair].resistance",
        OHM,
        "resistance across a pair of the connector with the burden on it, dead",
    )),
    mains(captured("ac_output[pair]", V, "waveform at the connector")),
    PointShape {
        capture: true,
        ..read_amount("ac_output[conductor].current", A, "current out of the connector")
    },
    mains(captured(
        "ac_output[conductor]",
        A,
        "waveform of the current out of the connector",
    )),
    mains(read_amount(
        "path[pole].voltage",
        V,
        "drop over one pole, input to connector",
    )),
    isolated_only(read_amount(
        "path[pole].resistance",
        OHM,
        "resistance of one pole, dead",
    )),
    switch(
        "pilot_load",
        &["state_A", "state_B", "state_C", "state_D", "state_E", "open", "check"],
        true,
        "what the bench shows as a vehicle",
    ),
    PointShape {
        read: true,
        ..set_amount("pilot_load.resistance", OHM, "fine ladder behind the diode")
    },
    read_amount(
        "pilot_load.path_resistance",
        OHM,
        "the bench's own resistor through the real path, by a meter",
    ),
    switch(
        "pilot_load.diode",
        &["normal", "shorted"],
        false,
        "diode of the pilot load",
    ),
    set_amount(
        "pilot_load.capacitance",
        Dimension::CAPACITANCE,
        "capacitance added at the pilot",
    ),
    set_amount(
        "pilot_load.angle",
        Dimension::NONE,
        "angle of the mains at which the pilot load changes next; once",
    ),
    read_amount(
        "pilot_load.diode_drop",
        V,
        "forward drop of the bench's own diode at 5 mA, by a meter",
    ),
    isolated_only(read_amount(
        "proximity.resistance",
        OHM,
        "proximity to PE at the connector",
    )),
    switch("load", &["on", "off"], false, "load at the connector"),
    set_amount("load.current", A, "current of the load"),
    switch(
        "capture_input",
        &["item", "reference"],
        false,
        "what every input of the capture instrument is led to; the pilot's through a divider of 5 to 1",
    ),
];
