//! The points of each kind of item: one table that decides what may be set, read and captured, in which unit or words.
//!
//! A pattern may hold one placeholder in brackets: `[pair]`, `[conductor]` or `[pole]`; which ones exist on the item at
//! hand follows from its nameplate.

use super::near;
use pilotage_core::Dimension;
use pilotage_evidence::ItemKind;

/// What a point holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// A quantity of this dimension.
    Amount(Dimension),
    /// One of these words.
    Words(&'static [&'static str]),
}

/// One line of the table.
#[allow(clippy::struct_excessive_bools, reason = "each is a column of the table")]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PointShape {
    /// The point, with a placeholder in brackets where it has one.
    pub pattern: &'static str,
    /// What it holds.
    pub holds: Holds,
    /// Whether a sequence may set it.
    pub set: bool,
    /// Whether a sequence may read it.
    pub read: bool,
    /// Whether samples of it may be captured.
    pub capture: bool,
    /// Whether it is tied to mains: served only by a differential or isolated connection.
    pub mains: bool,
    /// Whether it may be read only in *isolated*.
    pub isolated_only: bool,
    /// Whether the tool needs it to keep people from harm: without it nothing is fitted.
    pub needed: bool,
    /// What it is, for people.
    pub meaning: &'static str,
}

const PAIRS: &[&str] = &["L-N", "L-PE", "N-PE", "L1-L2", "L1-PE", "L2-PE"];
const CONDUCTORS: &[&str] = &["L", "L1", "L2"];
const POLES: &[&str] = &["L", "N", "L1", "L2"];

const PLAIN: PointShape = PointShape {
    pattern: "",
    holds: Holds::Words(&[]),
    set: false,
    read: false,
    capture: false,
    mains: false,
    isolated_only: false,
    needed: false,
    meaning: "",
};

const fn switch(
    pattern: &'static str,
    words: &'static [&'static str],
    needed: bool,
    meaning: &'static str,
) -> PointShape {
    PointShape {
        set: true,
        ..input(pattern, words, needed, meaning)
    }
}

const fn input(
    pattern: &'static str,
    words: &'static [&'static str],
    needed: bool,
    meaning: &'static str,
) -> PointShape {
    PointShape {
        pattern,
        holds: Holds::Words(words),
        read: true,
        needed,
        meaning,
        ..PLAIN
    }
}

const fn set_amount(pattern: &'static str, dimension: Dimension, meaning: &'static str) -> PointShape {
    PointShape {
        pattern,
        holds: Holds::Amount(dimension),
        set: true,
        meaning,
        ..PLAIN
    }
}

const fn read_amount(pattern: &'static str, dimension: Dimension, meaning: &'static str) -> PointShape {
    PointShape {
        pattern,
        holds: Holds::Amount(dimension),
        read: true,
        meaning,
        ..PLAIN
    }
}

const fn mains(shape: PointShape) -> PointShape {
    PointShape { mains: true, ..shape }
}

const fn needed(shape: PointShape) -> PointShape {
    PointShape { needed: true, ..shape }
}

const fn isolated_only(shape: PointShape) -> PointShape {
    PointShape {
        isolated_only: true,
        ..shape
    }
}

const fn captured(pattern: &'static str, dimension: Dimension, meaning: &'static str) -> PointShape {
    PointShape {
        pattern,
        holds: Holds::Amount(dimension),
        capture: true,
        meaning,
        ..PLAIN
    }
}

const V: Dimension = Dimension::VOLTAGE;
const A: Dimension = Dimension::CURRENT;
const OHM: Dimension = Dimension::RESISTANCE;

/// The points of a wall unit, single or split phase.
const WALL_UNIT: &[PointShape] = &[
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
    captured("pilot", V, "waveform of the pilot"),
    read_amount("pilot.voltage", V, "mean voltage of the pilot"),
    read_amount("pilot.high", V, "high level of the pilot"),
    read_amount("pilot.low", V, "low level of the pilot"),
    read_amount("pilot.frequency", Dimension::FREQUENCY, "frequency of the pilot"),
    read_amount("pilot.duty", Dimension::NONE, "duty of the pilot"),
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
        "burden",
        &["on", "off"],
        true,
        "known burden across the pairs, for proving dead",
    ),
    switch(
        "reference",
        &["off", "ac", "dc"],
        true,
        "the bench's own reference, for proving the meter",
    ),
    switch(
        "capture_input",
        &["item", "reference"],
        false,
        "what every input of the capture instrument is led to; the pilot's through a divider of 5 to 1",
    ),
    needed(read_amount("reference.voltage", V, "AC voltage of the reference")),
    needed(read_amount("reference.dc_voltage", V, "DC voltage of the reference")),
    input("enclosure", &["open", "closed"], true, "guard of the enclosure"),
    input("hard_wired_stop", &["ready", "pressed"], true, "hard-wired stop"),
    input(
        "supply_contactor",
        &["open", "closed"],
        true,
        "contactor that the hard-wired stop opens",
    ),
    read_amount(
        "terminal.temperature",
        Dimension::TEMPERATURE,
        "temperature of the item's terminals",
    ),
];

/// The points of a kind of item; `None` where the kind has no table yet.
pub fn points_of(kind: ItemKind) -> Option<&'static [PointShape]> {
    match kind {
        ItemKind::WallUnit => Some(WALL_UNIT),
        _ => None,
    }
}

/// A point of the table and what stood in its brackets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Point<'p> {
    /// The line of the table.
    pub shape: &'static PointShape,
    /// What stood in the brackets.
    pub bracket: Option<&'p str>,
}

/// Finds a point, or the nearest name that exists.
pub fn find_point(kind: ItemKind, name: &str) -> Result<Point<'_>, Option<String>> {
    let table = points_of(kind).ok_or(None)?;
    for shape in table {
        if let Some(point) = matches_pattern(shape, name) {
            return Ok(point);
        }
    }
    Err(near::nearest(name, all_names(kind)))
}

/// Every point of a kind with its placeholders filled in.
pub fn all_names(kind: ItemKind) -> Vec<String> {
    points_of(kind).unwrap_or_default().iter().flat_map(names_of).collect()
}

/// One pattern with its placeholder filled in.
pub fn names_of(shape: &PointShape) -> Vec<String> {
    match split_pattern(shape.pattern) {
        None => vec![shape.pattern.to_owned()],
        Some((before, placeholder, after)) => allowed(placeholder)
            .iter()
            .map(|word| format!("{before}[{word}]{after}"))
            .collect(),
    }
}

fn matches_pattern<'p>(shape: &'static PointShape, name: &'p str) -> Option<Point<'p>> {
    let Some((before, placeholder, after)) = split_pattern(shape.pattern) else {
        return (shape.pattern == name).then_some(Point { shape, bracket: None });
    };
    let inside = name
        .strip_prefix(before)?
        .strip_prefix('[')?
        .strip_suffix(after)?
        .strip_suffix(']')?;
    allowed(placeholder).contains(&inside).then_some(Point {
        shape,
        bracket: Some(inside),
    })
}

fn split_pattern(pattern: &'static str) -> Option<(&'static str, &'static str, &'static str)> {
    let (before, rest) = pattern.split_once('[')?;
    let (placeholder, after) = rest.split_once(']')?;
    Some((before, placeholder, after))
}

fn allowed(placeholder: &str) -> &'static [&'static str] {
    match placeholder {
        "pair" => PAIRS,
        "conductor" => CONDUCTORS,
        _ => POLES,
    }
}
