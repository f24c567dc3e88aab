//! The tables of inlets and cable assemblies: contacts and cores without a will of their own. Everything is measured at extra-low
//! voltage but the insulation; the insulation instrument stands where other kinds have their supply. A current source of a
//! few volts stands where they have a load: it cannot give a shock, but it can make things hot.

use super::columns::{
    A, OHM, PointShape, V, captured, input, isolated_only, mains, needed, read_amount, set_amount, switch,
};
use super::common;
use super::table::{Bound, DeadPlace, KindTable, Line, MakeSafe, Pairs};
use crate::energy::BenchState;
use crate::fit::code;
use crate::program::{Order, Setting};
use pilotage_core::Dimension;
use std::time::Duration;

/// The insulation instrument discharges what it has charged when it goes off.
const DISCHARGED_WITHIN: Duration = Duration::from_secs(1);

const DEAD: &[DeadPlace] = &[DeadPlace {
    at: "contacts",
    pairs: Pairs::Contacts,
    fed: true,
    output: true,
    behind_lock: true,
    asks: None,
}];

const BOUNDS: &[Bound] = &[
    Bound {
        point: "supply.voltage",
        plate: Some("insulation_voltage"),
        above: 1.0,
        code: code::SUPPLY_TOO_HIGH,
        supplied_only: false,
    },
    Bound {
        point: "load.current",
        plate: Some("rated_current"),
        above: 1.0,
        code: code::LOAD_TOO_HIGH,
        supplied_only: false,
    },
];

const OFF: MakeSafe = MakeSafe {
    normal: &[
        Line::Zero("load.current"),
        Line::Word("load", "off"),
        Line::Word("supply", "off"),
        Line::Word("sleeve", "off"),
        Line::Zero("lock.voltage"),
        Line::Wait(DISCHARGED_WITHIN),
    ],
    emergency: &[
        Line::Word("supply", "off"),
        Line::Zero("load.current"),
        Line::Word("load", "off"),
        Line::Word("sleeve", "off"),
        Line::Zero("lock.voltage"),
        Line::Wait(DISCHARGED_WITHIN),
    ],
    isolate: &[
        Line::Zero("load.current"),
        Line::Word("load", "off"),
        Line::Word("supply", "off"),
        Line::Word("sleeve", "off"),
        Line::Zero("lock.voltage"),
        Line::Wait(DISCHARGED_WITHIN),
    ],
};

const BY_HAND: (&str, &str) = ("every contact and everything wired to it", "the contacts");
const NEEDS: &str =
    "insulation instrument (as `supply`), burden, reference, interlocks and every two contacts, AC and DC";

/// The table of inlets.
pub(super) static INLET: KindTable = KindTable {
    points: &[POINTS, OF_INLETS, common::POINTS],
    energy,
    sources: &["supply", "load"],
    dead: DEAD,
    bounds: BOUNDS,
    contactors: &[common::SUPPLY_CONTACTOR],
    rated_load: "rated_current",
    load_drives: true,
    make_safe: OFF,
    by_hand: BY_HAND,
    needs: NEEDS,
};

/// The table of cable assemblies.
pub(super) static CABLE: KindTable = KindTable {
    points: &[POINTS, OF_CABLES, common::POINTS],
    energy,
    sources: &["supply", "load"],
    dead: DEAD,
    bounds: BOUNDS,
    contactors: &[common::SUPPLY_CONTACTOR],
    rated_load: "rated_current",
    load_drives: true,
    make_safe: OFF,
    by_hand: BY_HAND,
    needs: NEEDS,
};

/// Point, setting → energising?, state after. The current source is energising for its heat: only then guards watch.
fn energy(state: BenchState, order: &Order) -> (bool, BenchState) {
    match (order.point.as_str(), &order.to) {
        ("supply", Setting::Word(word)) if word == "off" => (false, still_loaded(state.supply_off())),
        ("supply", _) => (
            true,
            BenchState {
                supply_on: true,
                ..state.live()
            },
        ),
        ("supply.voltage", _) => (state.supply_on, state),
        ("load", Setting::Word(word)) if word == "off" => (
            false,
            still_supplied(BenchState {
                load_on: false,
                ..state
            }),
        ),
        ("load", _) => (
            true,
            BenchState {
                load_on: true,
                ..state.live()
            },
        ),
        ("load.current", Setting::Amount(value, _)) => {
            (value.si() != 0.0 && state.load_on, state.with_load_current(value.si()))
        }
        // All of it extra-low voltage, and nothing of it makes a contact hot.
        ("proximity_set" | "lock" | "lock.voltage" | "sleeve" | "sleeve.temperature", _) => (false, state),
        _ => state.unknown_order(),
    }
}

fn still_loaded(off: BenchState) -> BenchState {
    if off.load_on && off.may_be_live() {
        off.live()
    } else {
        off
    }
}

fn still_supplied(off: BenchState) -> BenchState {
    if off.supply_on { off } else { off.no_longer_live() }
}

/// Points of both kinds. `contacts` is the vehicle's end: the face of an inlet, the connector of a cable.
const POINTS: &[PointShape] = &[
    switch(
        "supply",
        &["on", "off"],
        true,
        "insulation instrument, which supplies the item: on puts its DC voltage on the pair that is read",
    ),
    set_amount("supply.voltage", V, "voltage of the insulation instrument"),
    mains(read_amount(
        "insulation[contact_pair].resistance",
        OHM,
        "insulation between two contacts, by the insulation instrument",
    )),
    needed(mains(read_amount(
        "contacts[contact_pair].voltage",
        V,
        "AC voltage between two contacts",
    ))),
    needed(mains(read_amount(
        "contacts[contact_pair].dc_voltage",
        V,
        "DC voltage between two contacts",
    ))),
    isolated_only(read_amount(
        "contacts[contact_pair].resistance",
        OHM,
        "resistance between two contacts, by a meter",
    )),
    isolated_only(read_amount(
        "contacts[contact_pair].capacitance",
        Dimension::CAPACITANCE,
        "capacitance between two contacts",
    )),
    isolated_only(read_amount(
        "path[core].resistance",
        OHM,
        "resistance of one contact or core, four wires, 10 A",
    )),
    isolated_only(read_amount(
        "path[core].continuity",
        OHM,
        "resistance of one contact or core by a meter, with 10 MΩ fitted across its leads: an open core reads those",
    )),
    read_amount(
        "path[core].voltage",
        V,
        "drop over one contact or core while the current source is on",
    ),
    switch(
        "load",
        &["on", "off"],
        false,
        "current source of a few volts through the power contacts",
    ),
    set_amount("load.current", A, "current of the current source"),
    read_amount("load.measured_current", A, "current that flows from the current source"),
];

/// Points of inlets only.
const OF_INLETS: &[PointShape] = &[
    switch(
        "proximity_set",
        &["open", "latched", "pressed"],
        false,
        "what the bench puts from proximity to PE as a connector: nothing, latched, button pressed",
    ),
    read_amount(
        "proximity.voltage",
        V,
        "voltage of proximity to PE behind the bench's 5 V and 330 Ω",
    ),
    isolated_only(read_amount("sensor_1.resistance", OHM, "first temperature sensor")),
    isolated_only(read_amount("sensor_2.resistance", OHM, "second temperature sensor")),
    switch("sleeve", &["on", "off"], false, "warming sleeve over the inlet"),
    set_amount(
        "sleeve.temperature",
        Dimension::TEMPERATURE,
        "temperature of the sleeve",
    ),
    switch("lock", &["locked", "released"], false, "which way the lock is driven"),
    set_amount("lock.voltage", V, "supply of the lock's motor"),
    read_amount("lock.current", A, "current of the lock's motor"),
    input(
        "lock.feedback",
        &["locked", "released"],
        false,
        "what the lock says of itself",
    ),
    input(
        "lock.pin",
        &["locked", "released"],
        false,
        "where the lock's pin is, by a switch of the bench",
    ),
];

/// Points of cables only. `plug` is the wall's end.
const OF_CABLES: &[PointShape] = &[
    isolated_only(read_amount(
        "plug[contact_pair].resistance",
        OHM,
        "resistance between two contacts of the plug, by a meter",
    )),
    isolated_only(read_amount(
        "path[contact_pair].continuity",
        OHM,
        "resistance from the first contact at the plug to the second one at the connector, 10 MΩ fitted",
    )),
    captured("path[core]", V, "voltage over a core that carries 5 mA"),
    captured("proximity", V, "voltage from proximity to PE at the connector, at 5 mA"),
];
