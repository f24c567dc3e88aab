//! The table of on-board chargers: a supply and a wall unit's pilot before them, a DC sink behind them that holds a battery's voltage and
//! also bleeds them.

use super::charger_frames::FRAMES;
use super::charger_points::POINTS;
use super::table::{Asks, Bound, DeadPlace, KindTable, Line, MakeSafe, Pairs};
use super::{common, pilot};
use crate::contactor::Contactor;
use crate::energy::{BenchState, PilotShown};
use crate::fit::code;
use crate::program::{Order, Setting};
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

/// What watches the bleeding, and every capture of the next run, looks at the item and at no reference.
const LOOK_AT_ITEM: Line = Line::Word("capture_input", "item");

/// The coolant at 25 °C, in kelvins, or as near to it as the instrument comes: nothing keeps it hot. The pump is left as it is: it cools what it runs through, and a circuit that somebody
/// has opened is not pumped out.
const COOL: Line = Line::Amount("coolant.temperature", 298.15);

/// No offer, time to stop, supply off, pilot off; the sink bleeds the output and goes off then. A sink that holds a voltage would not
/// bleed below it, and turned round while it holds one it would throw it to the other side: it holds none before it is turned or
/// switched on. The low-voltage supply goes last: a charger discharges its own capacitor with it.
const STOPPED: &[Line] = &[
    LOOK_AT_ITEM,
    Line::Word("pilot_source", "steady"),
    Line::Word("command.enable", "off"),
    Line::Wait(STOPS_WITHIN),
    Line::Word("supply", "off"),
    Line::Word("insulation", "off"),
    Line::Word("pilot_source", "off"),
    Line::Zero("pilot_source.capacitance"),
    Line::Zero("pilot_source.jitter"),
    Line::Zero("load.voltage"),
    Line::Word("load.polarity", "normal"),
    Line::Amount("load.current", BLEED_A),
    Line::Word("load", "on"),
    BLEED,
    Line::Word("proximity", "open"),
    Line::Word("command.frames", "stopped"),
    COOL,
    Line::Word("low_voltage", "off"),
];

/// The low-voltage supply of a nominal 12 V system reaches 16 V (ISO 16750-2, from memory).
const LOW_VOLTAGE_ABOVE: f64 = 16.0 / 12.0;

/// A sink that holds a voltage as a battery does is a source that no contactor of the supply cuts.
const LOAD_CONTACTOR: Contactor = Contactor {
    point: "load_contactor",
    name: "contactor of the sink",
    with: Some(("load.voltage", "lets the sink hold a voltage as a battery does")),
    shows: Some("load.measured_voltage"),
};

/// How far above its plate a charger with a supply may be told to go: as the current of the sink.
const COMMANDED_ABOVE: f64 = 1.2;

/// The table.
pub(super) static TABLE: KindTable = KindTable {
    points: &[POINTS, pilot::POINTS, FRAMES, common::POINTS],
    energy,
    sources: &["supply", "load", "insulation"],
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
            plate: Some("supply_voltage"),
            above: 1.1,
            code: code::SUPPLY_TOO_HIGH,
            supplied_only: false,
        },
        Bound {
            point: "load.current",
            plate: Some("dc_current"),
            above: 1.2,
            code: code::LOAD_TOO_HIGH,
            supplied_only: false,
        },
        Bound {
            point: "load.voltage",
            plate: Some("dc_voltage"),
            above: 1.0,
            code: code::LOAD_TOO_HIGH,
            supplied_only: false,
        },
        Bound {
            point: "insulation.voltage",
            plate: Some("insulation_voltage"),
            above: 1.0,
            code: code::SUPPLY_TOO_HIGH,
            supplied_only: false,
        },
        // A dip lowers.
        Bound {
            point: "supply.dip_level",
            plate: None,
            above: 1.0,
            code: code::SUPPLY_TOO_HIGH,
            supplied_only: false,
        },
        // Beyond the plate on purpose, to see it clamped: a little where the charger could obey, anything where it cannot.
        Bound {
            point: "command.voltage",
            plate: Some("dc_voltage"),
            above: COMMANDED_ABOVE,
            code: code::LOAD_TOO_HIGH,
            supplied_only: true,
        },
        Bound {
            point: "command.current",
            plate: Some("dc_current"),
            above: COMMANDED_ABOVE,
            code: code::LOAD_TOO_HIGH,
            supplied_only: true,
        },
        Bound {
            point: "low_voltage.voltage",
            plate: Some("low_voltage"),
            above: LOW_VOLTAGE_ABOVE,
            code: code::SUPPLY_TOO_HIGH,
            supplied_only: false,
        },
    ],
    contactors: &[common::SUPPLY_CONTACTOR, LOAD_CONTACTOR],
    rated_load: "dc_current",
    load_drives: false,
    make_safe: MakeSafe {
        normal: STOPPED,
        emergency: &[
            Line::Word("supply", "off"),
            Line::Word("insulation", "off"),
            Line::Zero("load.voltage"),
            LOOK_AT_ITEM,
            Line::Word("pilot_source", "off"),
            Line::Word("command.enable", "off"),
            Line::Zero("pilot_source.capacitance"),
            Line::Zero("pilot_source.jitter"),
            Line::Word("load.polarity", "normal"),
            Line::Amount("load.current", BLEED_A),
            Line::Word("load", "on"),
            BLEED,
            Line::Word("proximity", "open"),
            Line::Word("command.frames", "stopped"),
            COOL,
            Line::Word("low_voltage", "off"),
        ],
        isolate: STOPPED,
    },
    by_hand: (
        "the charger's DC output, its AC pins and everything wired to them",
        "the DC output and at the AC pins",
    ),
    needs: "supply, pilot source, DC sink, burden, reference, interlocks, the DC voltage, and every pair, AC and DC, of input and output",
};

/// Point, setting → energising?, state after. The AC pins are live while the supply is on, whatever the charger does; the DC
/// output stays charged after it. The sink draws, and gives where it holds a voltage; reversed, it gives 10 V only. The insulation instrument is
/// a source of its own.
fn energy(state: BenchState, order: &Order) -> (bool, BenchState) {
    match (order.point.as_str(), &order.to) {
        ("supply", Setting::Word(word)) if word == "off" => (
            false,
            still_fed(BenchState {
                supply_on: false,
                ..state
            }),
        ),
        ("supply", _) => (
            true,
            BenchState {
                supply_on: true,
                ..state.live()
            },
        ),
        // A dip of a supply that is off, and the angle at which it will come on, change nothing yet.
        (
            "supply.voltage" | "supply.frequency" | "supply.dip" | "supply.dip_level" | "supply.dip_time"
            | "supply.dip_angle" | "supply.angle",
            _,
        ) => (state.supply_on, state),
        ("insulation", Setting::Word(word)) => insulation(state, word == "on"),
        ("insulation.voltage", _) => (state.insulation_on, state),
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
        ) => (begins(state), state),
        // A charger that slept begins when it wakes, one whose loop was open when it is closed.
        ("low_voltage", Setting::Word(word)) => {
            let low_voltage_on = word != "off";
            let switched = BenchState {
                low_voltage_on,
                ..state
            };
            (low_voltage_on && begins(state), switched)
        }
        ("interlock_loop", Setting::Word(word)) => (word == "closed" && begins(state), state),
        ("load", Setting::Word(word)) => load(state, word == "on", state.load_voltage_v),
        ("load.voltage", Setting::Amount(value, _)) => load(state, state.load_on, value.si()),
        // What lets it begin while it is offered power; to forbid it is quiet, and so is to tell it nothing at all. Frames with a wrong
        // counter or checksum still tell something to a charger that looks at neither.
        ("command.enable", Setting::Word(word)) => (word != "off" && begins(state), state),
        ("command.frames", Setting::Word(word)) => {
            (!matches!(word.as_str(), "stopped" | "bus_off") && begins(state), state)
        }
        ("load.current", Setting::Amount(value, _)) => (false, state.with_load_current(value.si())),
        // Turned round while it holds a voltage, it throws it from one side to the other.
        ("load.polarity", _) => {
            let thrown = holds(state);
            (thrown, if thrown { state.live() } else { state })
        }
        ("coolant" | "coolant.temperature" | "capture_input", _) => (false, state),
        _ => state.unknown_order(),
    }
}

/// A sink of current only draws. One that holds a voltage as a battery does puts it on the DC output.
fn load(state: BenchState, on: bool, voltage_v: f64) -> (bool, BenchState) {
    let changed = BenchState {
        load_on: on,
        load_voltage_v: voltage_v,
        ..state
    };
    if holds(changed) {
        return (true, changed.live());
    }
    (false, still_fed(changed))
}

/// Whether a charger may begin to draw at the next thing that it waited for.
fn begins(state: BenchState) -> bool {
    state.pilot.asks() && !state.is_isolated()
}

fn insulation(state: BenchState, on: bool) -> (bool, BenchState) {
    let switched = BenchState {
        insulation_on: on,
        ..state
    };
    if on {
        return (true, switched.live());
    }
    (false, still_fed(switched))
}

/// One source has gone off; another one may still be on.
fn still_fed(off: BenchState) -> BenchState {
    if off.supply_on || off.insulation_on || holds(off) {
        off
    } else {
        off.no_longer_live()
    }
}

fn holds(state: BenchState) -> bool {
    state.load_on && state.load_voltage_v > 0.0
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
