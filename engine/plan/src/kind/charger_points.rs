//! The points of an on-board charger.

use super::columns::{
    A, OHM, PointShape, V, W, captured, input, isolated_only, mains, needed, read_amount, set_amount, switch,
};
use pilotage_core::Dimension;

/// Single or split phase.
pub(super) const POINTS: &[PointShape] = &[
    switch("supply", &["on", "off"], true, "supply of the charger"),
    set_amount("supply.voltage", V, "voltage of the supply"),
    set_amount("supply.frequency", Dimension::FREQUENCY, "frequency of the supply"),
    set_amount(
        "supply.angle",
        Dimension::NONE,
        "angle of its voltage at which the supply next switches on; once",
    ),
    switch(
        "supply.dip",
        &["ready", "once"],
        false,
        "a dip of the supply's voltage: `once` makes one, `ready` makes ready for the next",
    ),
    set_amount(
        "supply.dip_level",
        Dimension::NONE,
        "what is left of the voltage in a dip",
    ),
    set_amount("supply.dip_time", Dimension::TIME, "how long a dip lasts"),
    set_amount(
        "supply.dip_angle",
        Dimension::NONE,
        "angle of the voltage at which a dip begins",
    ),
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
    mains(read_amount("ac_input[pair].power", W, "active power into the AC pins")),
    mains(read_amount(
        "ac_input[pair].power_factor",
        Dimension::NONE,
        "power factor at the AC pins",
    )),
    read_amount("pe.current", A, "AC current in the protective conductor"),
    read_amount("pe.dc_current", A, "DC current in the protective conductor"),
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
    isolated_only(read_amount(
        "ac_input[pair].capacitance",
        Dimension::CAPACITANCE,
        "capacitance between two AC pins, dead",
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
    mains(captured(
        "dc_output[dc_conductor]",
        A,
        "waveform of the current out of the DC output",
    )),
    mains(read_amount("dc_output.power", W, "power out of the DC output")),
    isolated_only(read_amount(
        "dc_output[dc_pair].resistance",
        OHM,
        "resistance between two contacts of the DC output, dead",
    )),
    isolated_only(read_amount(
        "dc_output[dc_pair].capacitance",
        Dimension::CAPACITANCE,
        "capacitance between two contacts of the DC output, dead",
    )),
    isolated_only(read_amount(
        "dc_output[dc_pair].series_resistance",
        OHM,
        "resistance in series with that capacitance at the frequency of the bridge, dead",
    )),
    isolated_only(read_amount(
        "dc_output[dc_pair].dissipation",
        Dimension::NONE,
        "that resistance over the reactance of the capacitance, dead",
    )),
    switch(
        "insulation",
        &["on", "off"],
        false,
        "insulation instrument: on puts its DC voltage on what is read",
    ),
    set_amount("insulation.voltage", V, "voltage of the insulation instrument"),
    mains(read_amount(
        "insulation[insulated].resistance",
        OHM,
        "insulation of a side to the housing or to the other side, by the insulation instrument",
    )),
    isolated_only(read_amount(
        "bond.resistance",
        OHM,
        "housing to the PE pin, four wires, 10 A",
    )),
    switch(
        "interlock_loop",
        &["open", "closed"],
        false,
        "interlock loop of the high-voltage connector",
    ),
    isolated_only(read_amount(
        "interlock_loop.resistance",
        OHM,
        "the charger's part of the interlock loop, dead",
    )),
    switch("coolant", &["on", "off"], false, "coolant pump"),
    PointShape {
        read: true,
        ..set_amount(
            "coolant.temperature",
            Dimension::TEMPERATURE,
            "temperature of the coolant",
        )
    },
    read_amount(
        "coolant.outlet",
        Dimension::TEMPERATURE,
        "temperature of the coolant that comes back",
    ),
    switch("load", &["on", "off"], true, "DC sink at the output"),
    set_amount("load.current", A, "current of the sink"),
    set_amount("load.voltage", V, "voltage that the sink holds, as a battery does"),
    switch(
        "load.polarity",
        &["normal", "reversed"],
        false,
        "which way round the sink is: reversed, it gives 10 V, limited in current",
    ),
    mains(read_amount(
        "load.measured_voltage",
        V,
        "voltage at the sink, by itself",
    )),
    read_amount("load.measured_current", A, "current into the sink, by itself"),
    input(
        "load_contactor",
        &["open", "closed"],
        false,
        "contactor of the sink that the hard-wired stop opens",
    ),
    switch(
        "capture_input",
        &["item", "reference"],
        false,
        "what every input of the capture instrument is led to; the pilot's through a divider of 5 to 1",
    ),
];
