//! Where on an item a point is found: between two conductors, along one, through one, at a part, or on the bench only. The
//! hook-up page is drawn from it.

use super::table::{KindTable, table_of};
use crate::fit::points::point_of;
use pilotage_evidence::ItemKind;

/// A conductor at a place of the item, e.g. `L` at `ac_output`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Terminal {
    /// The place.
    pub at: String,
    /// The conductor.
    pub conductor: String,
}

/// Where a point is found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Found {
    /// Between two terminals.
    Between(Terminal, Terminal),
    /// What flows through one.
    Through(Terminal),
    /// All power conductors of a place; with the protective one where that is fed too.
    Power {
        /// The place.
        at: String,
        /// Whether the protective conductor belongs to it.
        with_pe: bool,
    },
    /// Every conductor of a place.
    Every(String),
    /// A part of the item that is no conductor.
    Part(&'static str),
    /// On the bench itself; nothing goes to the item.
    Bench(&'static str),
}

/// Where a point of a kind of item is found; `None` where the kind has no such point.
pub fn terminals(kind: ItemKind, point: &str) -> Option<Found> {
    let table = table_of(kind)?;
    let shape = point_of(kind, point)?.shape;
    // While these are read the pilot load is led to the meter, and nothing of it to the item.
    if matches!(point, "pilot_load.path_resistance" | "pilot_load.diode_drop") {
        return Some(Found::Bench("the bench's own pilot load"));
    }
    // By their roots these would be power leads and a pair.
    match point {
        "load.measured_voltage" => {
            let (plus, minus) = (terminal("dc_output", "plus"), terminal("dc_output", "minus"));
            return Some(Found::Between(plus, minus));
        }
        "dc_output.current" => return Some(Found::Through(terminal("dc_output", "plus"))),
        _ => {}
    }
    let root = point.split(['.', '[']).next().unwrap_or(point);
    Some(match bracket(point) {
        Some(inside) => in_brackets(kind, root, inside),
        None => plain(kind, table, root).unwrap_or(Found::Part(shape.meaning)),
    })
}

fn bracket(point: &str) -> Option<&str> {
    let (_, rest) = point.split_once('[')?;
    rest.split_once(']').map(|(inside, _)| inside)
}

fn terminal(at: &str, conductor: &str) -> Terminal {
    Terminal {
        at: at.to_owned(),
        conductor: conductor.to_owned(),
    }
}

/// From where to where a path goes, and where the pilot is: the sides of the item.
const fn sides(kind: ItemKind) -> (&'static str, &'static str, &'static str) {
    match kind {
        ItemKind::OnboardCharger => ("ac_input", "dc_output", "ac_input"),
        ItemKind::Inlet => ("contacts", "wires", "contacts"),
        ItemKind::CableAssembly => ("plug", "contacts", "contacts"),
        _ => ("ac_input", "ac_output", "ac_output"),
    }
}

fn in_brackets(kind: ItemKind, root: &str, inside: &str) -> Found {
    let (from, to, _) = sides(kind);
    match (root, inside.split_once('-')) {
        ("path", Some((here, there))) => Found::Between(terminal(from, here), terminal(to, there)),
        ("path", None) => Found::Between(terminal(from, inside), terminal(to, inside)),
        ("insulation", Some((a, b))) if kind == ItemKind::OnboardCharger => Found::Between(side(a), side(b)),
        ("insulation", Some((a, b))) => Found::Between(terminal("contacts", a), terminal("contacts", b)),
        (at, Some((a, b))) => Found::Between(terminal(at, a), terminal(at, b)),
        (at, None) => Found::Through(terminal(at, inside)),
    }
}

/// A side of a charger that is insulated from others: all AC pins joined, a contact of the DC output or all of them, the housing.
fn side(name: &str) -> Terminal {
    match name {
        "ac" => terminal("ac_input", "all"),
        "dc" => terminal("dc_output", "all"),
        "PE" => terminal("housing", "PE"),
        contact => terminal("dc_output", contact),
    }
}

fn plain(kind: ItemKind, table: &KindTable, root: &str) -> Option<Found> {
    let (input, output, connector) = sides(kind);
    let first = |output: bool| {
        table
            .dead
            .iter()
            .find(|place| place.output == output)
            .map(|place| place.at)
    };
    let between = |conductor| Found::Between(terminal(connector, conductor), terminal(connector, "PE"));
    let contacts_only = matches!(kind, ItemKind::Inlet | ItemKind::CableAssembly);
    Some(match root {
        "pilot" | "pilot_load" | "pilot_source" => between("CP"),
        "proximity" | "proximity_set" => between("PP"),
        "supply" if contacts_only => Found::Bench("insulation instrument"),
        "supply" => Found::Power {
            at: input.to_owned(),
            with_pe: true,
        },
        "load" => Found::Power {
            at: if contacts_only { "contacts" } else { output }.to_owned(),
            with_pe: false,
        },
        "dc_output" => Found::Between(terminal("dc_output", "plus"), terminal("dc_output", "minus")),
        "pe" => Found::Through(terminal("ac_input", "PE")),
        "bond" => Found::Between(terminal("housing", "PE"), terminal("ac_input", "PE")),
        "insulation" => Found::Bench("insulation instrument"),
        "interlock_loop" => Found::Part("interlock loop of the high-voltage connector"),
        "burden" => Found::Every(first(true)?.to_owned()),
        "reference" => Found::Bench("reference that proves the meter"),
        "capture_input" => Found::Bench("leads the capture instrument to the item or to the reference"),
        "enclosure" | "hard_wired_stop" | "supply_contactor" | "load_contactor" => Found::Bench("safety chain"),
        "terminal" => Found::Part("the item's terminals"),
        "sensor_1" => Found::Part("temperature sensor 1"),
        "sensor_2" => Found::Part("temperature sensor 2"),
        "lock" => Found::Part("the lock"),
        "sleeve" => Found::Part("warming sleeve over the inlet"),
        "coolant" => Found::Part("coolant circuit"),
        "command" | "status" | "accepted" => Found::Part("CAN high and CAN low"),
        _ => return None,
    })
}

/// A place of the item in words.
pub fn place_words(kind: ItemKind, at: &str) -> String {
    match (kind, at) {
        (_, "ac_input") if kind == ItemKind::OnboardCharger => "AC pins".to_owned(),
        (_, "ac_input") => "Input terminals".to_owned(),
        (_, "ac_output") | (ItemKind::CableAssembly, "contacts") => "Connector".to_owned(),
        (_, "dc_output") => "DC output".to_owned(),
        (_, "contacts") => "Contacts of the inlet".to_owned(),
        (_, "plug") => "Plug".to_owned(),
        (_, "wires") => "Wires behind the contacts".to_owned(),
        (_, other) => other.replace('_', " "),
    }
}
