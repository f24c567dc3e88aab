//! The table of on-board chargers: a supply and a wall unit's pilot before them, a DC sink behind them that also bleeds them.

use super::columns::{
    A, OHM, PointShape, V, captured, input, isolated_only, mains, needed, read_amount, set_amount, switch,
};
use super::common;
use super::table::{Asks, Bound, DeadPlace, KindTable, Line, MakeSafe, Pairs};
use crate::energy::{BenchState, PilotShown};
use crate::fit::code;
use crate::program::{Order, Setting};
use pilotage_core::Dimension;
use std::time::Duration;

/// A vehicle must stop drawing within 3 s of a pilot without an offer (IEC 61851-1 Annex A, from memory).
const STOPS_WITHIN: Duration = Duration::from_secs(3);
/// The DC output counts as bled below this, in volts (IEC 61140, touch voltage DC, from memory).
const BLED_V: f64 = 60.0;
/// What the sink draws while it bleeds, in amperes.
const BLEED_A: f64 = 0.5;
/// The longest that is waited for it.
const BLED_WITHIN: Duration = Duration::from_mins(1);
/// While the DC output is above [`BLED_V`] the sink stays on; it goes off only below.
const BLEED: Line = Line::BleedUntil {
    point: "dc_output.voltage",
    below: BLED_V,
    deadline: BLED_WITHIN,
    off: ("load", "off"),
};

/// The low-voltage supply of a nominal 12 V system reaches 16 V (ISO 16750-2, from memory).
const LOW_VOLTAGE_ABOVE: f64 = 16.0 / 12.0;

/// The table.
pub(super) static TABLE: KindTable = KindTable {
    points: &[POINTS, FRAMES, common::POINTS],
    energy,
    sources: &["supply", "load"],
    dead: &[
        DeadPlace {
            at: "dc_output",
            pairs: Pairs::Dc,
            fed: false,
            output: true,
            behind_lock: false,
            asks: Some(Asks {
                how: "the pilot source offers",
                expected: "a pilot source without an offer (off, steady or fault), or the supply off",
                got: "a pilot source that offers, and the supply on",
                mend: "put `set: {pilot_source: steady}` before it, and wait until the charger has stopped",
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
            plate: "supply_voltage",
            above: 1.1,
            code: code::SUPPLY_TOO_HIGH,
        },
        Bound {
            point: "load.current",
            plate: "dc_current",
            above: 1.2,
            code: code::LOAD_TOO_HIGH,
        },
        Bound {
            point: "load.voltage",
            plate: "dc_voltage",
            above: 1.0,
            code: code::LOAD_TOO_HIGH,
        },
        Bound {
            point: "low_voltage.voltage",
            plate: "low_voltage",
            above: LOW_VOLTAGE_ABOVE,
            code: code::SUPPLY_TOO_HIGH,
        },
    ],
    rated_load: "dc_current",
    load_drives: false,
    make_safe: MakeSafe {
        // No offer, time to stop, supply off, pilot off; the sink bleeds the output and goes off then. The low-voltage supply
        // goes last: a charger discharges its own capacitor with it.
        normal: &[
            Line::Word("pilot_source", "steady"),
            Line::Word("command.enable", "off"),
            Line::Wait(STOPS_WITHIN),
            Line::Word("supply", "off"),
            Line::Word("pilot_source", "off"),
            Line::Zero("pilot_source.capacitance"),
            Line::Zero("pilot_source.jitter"),
            Line::Amount("load.current", BLEED_A),
            Line::Word("load", "on"),
            BLEED,
            Line::Word("proximity", "open"),
            Line::Word("command.frames", "stopped"),
            Line::Word("low_voltage", "off"),
        ],
        emergency: &[
            Line::Word("supply", "off"),
            Line::Word("pilot_source", "off"),
            Line::Word("command.enable", "off"),
            Line::Zero("pilot_source.capacitance"),
            Line::Zero("pilot_source.jitter"),
            Line::Amount("load.current", BLEED_A),
            Line::Word("load", "on"),
            BLEED,
            Line::Word("proximity", "open"),
            Line::Word("command.frames", "stopped"),
            Line::Word("low_voltage", "off"),
        ],
        isolate: &[
            Line::Word("pilot_source", "steady"),
            Line::Word("command.enable", "off"),
            Line::Wait(STOPS_WITHIN),
            Line::Word("supply", "off"),
            Line::Word("pilot_source", "off"),
            Line::Zero("pilot_source.capacitance"),
            Line::Zero("pilot_source.jitter"),
            Line::Amount("load.current", BLEED_A),
            Line::Word("load", "on"),
            BLEED,
            Line::Word("proximity", "open"),
            Line::Word("command.frames", "stopped"),
            Line::Word("low_voltage", "off"),
        ],
    },
    by_hand: (
        "the charger's DC output, its AC pins and everything wired to them",
        "the DC output and at the AC pins",
    ),
    needs: "supply, pilot source, DC sink, burden, reference, interlocks, the DC voltage, and every pair, AC and DC, of input and output",
};

/// Point, setting → energising?, state after. The AC pins are live while the supply is on, whatever the charger does; the DC
/// output stays charged after it. The sink only draws.
fn energy(state: BenchState, order: &Order) -> (bool, BenchState) {
    match (order.point.as_str(), &order.to) {
        ("supply", Setting::Word(word)) if word == "off" => (false, state.supply_off()),
        ("supply", _) => (
            true,
            BenchState {
                supply_on: true,
                ..state.live()
            },
        ),
        ("supply.voltage", _) => (state.supply_on, state),
        ("pilot_source", Setting::Word(word)) => pilot_source(state, word),
        // Whatever changes an offer or a set-point, or lets a charger begin that waited.
        (
            "pilot_source.duty"
            | "pilot_source.frequency"
            | "pilot_source.high"
            | "pilot_source.low"
            | "pilot_source.capacitance"
            | "pilot_source.jitter"
            | "proximity"
            | "proximity.resistance"
            | "low_voltage.voltage"
            | "command.voltage"
            | "command.current",
            _,
        ) => (state.pilot.asks() && !state.is_isolated(), state),
        // What lets it begin while it is offered power; to forbid it is quiet, and so is whatever must make it stop.
        ("command.enable", Setting::Word(word)) => (word != "off" && state.pilot.asks() && !state.is_isolated(), state),
        ("command.frames", Setting::Word(word)) => (
            matches!(word.as_str(), "on" | "lost") && state.pilot.asks() && !state.is_isolated(),
            state,
        ),
        // A charger that slept begins when it wakes.
        ("low_voltage", Setting::Word(word)) => (word == "on" && state.pilot.asks() && !state.is_isolated(), state),
        ("load", Setting::Word(word)) => (
            false,
            BenchState {
                load_on: word == "on",
                ..state
            },
        ),
        ("load.current", Setting::Amount(value, _)) => (false, state.with_load_current(value.si())),
        ("supply.frequency" | "load.voltage" | "coolant" | "coolant.temperature" | "capture_input", _) => {
            (false, state)
        }
        _ => state.unknown_order(),
    }
}

/// An offer is quiet only in *isolated*: a supply that is off by command alone may still be there.
fn pilot_source(state: BenchState, word: &str) -> (bool, BenchState) {
    let check = matches!(word, "check" | "check_high" | "check_low");
    let offers = !check && !matches!(word, "off" | "steady" | "fault" | "shorted");
    let changed = BenchState {
        pilot_checked: check,
        pilot: if offers {
            PilotShown::Asking
        } else {
            PilotShown::Waiting
        },
        ..state
    };
    if offers && !state.is_isolated() {
        return (true, changed.live());
    }
    (false, changed)
}

/// What a charger is told and says over a bus, by the names that a file of frames gives to its signals.
const FRAMES: &[PointShape] = &[
    switch(
        "command.frames",
        &["on", "stopped", "bad_counter", "bad_checksum", "lost", "bus_off"],
        false,
        "how the bench sends its commands: as they should be, not at all, with a counter that stands, with a wrong checksum, \
         every second one left out, or the bus held so that nobody can send",
    ),
    switch(
        "command.enable",
        &["on", "off"],
        false,
        "whether the charger may charge",
    ),
    set_amount("command.voltage", V, "voltage of the DC output that it may reach"),
    set_amount("command.current", A, "current out of the DC output that it may give"),
    read_amount("status.period", Dimension::TIME, "mean period of its status frames"),
    read_amount(
        "status.period_ratio",
        Dimension::NONE,
        "mean period of its status frames by the one of the file of frames",
    ),
    read_amount(
        "status.period_min",
        Dimension::TIME,
        "shortest period of its status frames",
    ),
    read_amount(
        "status.period_max",
        Dimension::TIME,
        "longest period of its status frames",
    ),
    read_amount(
        "status.jitter",
        Dimension::TIME,
        "standard deviation of the period of its status frames",
    ),
    read_amount(
        "status.lost",
        Dimension::NONE,
        "status frames that their counter says are missing",
    ),
    read_amount(
        "status.faulty",
        Dimension::NONE,
        "status frames with a wrong checksum or a counter that stands",
    ),
    read_amount(
        "status.silence",
        Dimension::TIME,
        "time since its last status frame; since the interface began to watch where none came",
    ),
    input(
        "status.state",
        &["idle", "active", "fault", "missing"],
        false,
        "what it says it does; `missing` where no status frame came for ten periods",
    ),
    input(
        "status.fault",
        &["none", "command_missing", "internal", "missing"],
        false,
        "why it says that it has stopped",
    ),
    input(
        "status.proximity",
        &["open", "pressed", "latched", "missing"],
        false,
        "what it says that it reads from proximity",
    ),
    read_amount("status.dc_voltage", V, "voltage of the DC output, as it says"),
    read_amount("status.dc_current", A, "current out of the DC output, as it says"),
    read_amount("status.ac_voltage", V, "voltage at the AC pins, as it says"),
    read_amount("status.ac_current", A, "current into the AC pins, as it says"),
    read_amount(
        "status.temperature",
        Dimension::TEMPERATURE,
        "its temperature, as it says",
    ),
    input(
        "accepted.enable",
        &["on", "off", "missing"],
        false,
        "whether it says that it may charge",
    ),
    read_amount("accepted.voltage", V, "voltage that it says it has accepted"),
    read_amount("accepted.current", A, "current that it says it has accepted"),
];

/// Single or split phase.
const POINTS: &[PointShape] = &[
    switch("supply", &["on", "off"], true, "supply of the charger"),
    set_amount("supply.voltage", V, "voltage of the supply"),
    set_amount("supply.frequency", Dimension::FREQUENCY, "frequency of the supply"),
    read_amount("supply.current", A, "current out of the supply"),
    needed(mains(read_amount(
        "ac_input[pair].voltage",
        V,
        "AC voltage at the AC pins",
    ))),
    needed(mains(read_amount(
        "ac_input[pair].dc_voltage",
        V,
        "DC voltage at the AC pins",
    ))),
    mains(captured("ac_input[pair]", V, "waveform at the AC pins")),
    PointShape {
        capture: true,
        ..read_amount("ac_input[conductor].current", A, "current into the AC pins")
    },
    mains(captured(
        "ac_input[conductor]",
        A,
        "waveform of the current into the AC pins",
    )),
    switch(
        "pilot_source",
        &[
            "off",
            "steady",
            "pwm",
            "fault",
            "shorted",
            "positive_only",
            "check",
            "check_high",
            "check_low",
        ],
        true,
        "what the bench shows as a wall unit: nothing, high rail, an offer, low rail, pilot shorted to PE, an offer without \
         negative half; `check`: its own resistor, or one of its rails, to the meter and nothing to the charger",
    ),
    set_amount("pilot_source.duty", Dimension::NONE, "duty of the offer"),
    set_amount("pilot_source.frequency", Dimension::FREQUENCY, "frequency of the offer"),
    set_amount("pilot_source.high", V, "high rail of the pilot source"),
    set_amount("pilot_source.low", V, "low rail of the pilot source"),
    set_amount(
        "pilot_source.capacitance",
        Dimension::CAPACITANCE,
        "capacitance added at the pilot",
    ),
    set_amount(
        "pilot_source.jitter",
        Dimension::NONE,
        "standard deviation of the duty from one pulse to the next",
    ),
    read_amount(
        "pilot_source.path_resistance",
        OHM,
        "the pilot source's own resistor through the real path, by a meter",
    ),
    read_amount(
        "pilot_source.open_voltage",
        V,
        "rail of the pilot source with nothing on it, by a meter",
    ),
    captured("pilot", V, "waveform of the pilot"),
    read_amount("pilot.voltage", V, "mean voltage of the pilot"),
    read_amount("pilot.high", V, "high level of the pilot"),
    read_amount("pilot.low", V, "low level of the pilot"),
    read_amount("pilot.frequency", Dimension::FREQUENCY, "frequency of the pilot"),
    read_amount("pilot.duty", Dimension::NONE, "duty of the pilot"),
    switch(
        "proximity",
        &["open", "latched", "pressed"],
        false,
        "what the bench shows as a connector: none, latched, button pressed",
    ),
    PointShape {
        read: true,
        ..isolated_only(set_amount(
            "proximity.resistance",
            OHM,
            "resistor that the bench puts from proximity to PE; read, proximity to PE of the charger, dead",
        ))
    },
    read_amount(
        "proximity.voltage",
        V,
        "voltage of proximity to PE, as the charger makes it",
    ),
    isolated_only(read_amount(
        "pilot.reverse_resistance",
        OHM,
        "pilot to PE of the charger against its diode, dead",
    )),
    isolated_only(read_amount(
        "ac_input[pair].resistance",
        OHM,
        "resistance between two AC pins, dead",
    )),
    switch(
        "low_voltage",
        &["on", "off"],
        false,
        "low-voltage supply of the charger",
    ),
    set_amount("low_voltage.voltage", V, "voltage of the low-voltage supply"),
    read_amount("low_voltage.current", A, "current out of the low-voltage supply"),
    needed(mains(read_amount(
        "dc_output[dc_pair].voltage",
        V,
        "AC voltage at the DC output",
    ))),
    needed(mains(read_amount(
        "dc_output[dc_pair].dc_voltage",
        V,
        "DC voltage at the DC output",
    ))),
    needed(mains(read_amount(
        "dc_output.voltage",
        V,
        "voltage of the DC output, as the charger drives it",
    ))),
    read_amount("dc_output.current", A, "current out of the DC output"),
    mains(captured("dc_output", V, "waveform of the DC output")),
    switch("coolant", &["on", "off"], false, "coolant pump"),
    PointShape {
        read: true,
        ..set_amount(
            "coolant.temperature",
            Dimension::TEMPERATURE,
            "temperature of the coolant",
        )
    },
    switch("load", &["on", "off"], true, "DC sink at the output"),
    set_amount("load.current", A, "current of the sink"),
    set_amount("load.voltage", V, "voltage that the sink holds, as a battery does"),
    switch(
        "capture_input",
        &["item", "reference"],
        false,
        "what every input of the capture instrument is led to; the pilot's through a divider of 5 to 1",
    ),
];
