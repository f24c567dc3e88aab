//! Points and orders that every bench has, whatever it tests: what proves dead, and what guards people.

use super::columns::{PointShape, V, input, needed, read_amount, switch};
use crate::contactor::Contactor;
use crate::program::Order;
use pilotage_core::Dimension;

/// Points of every bench.
pub(super) const POINTS: &[PointShape] = &[
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
    needed(read_amount("reference.voltage", V, "AC voltage of the reference")),
    needed(read_amount("reference.dc_voltage", V, "DC voltage of the reference")),
    input(
        "reference.overload",
        &["overload"],
        false,
        "what the meter says of the reference on a range that is too small for it",
    ),
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

/// The contactor of every bench that can energise.
pub(super) const SUPPLY_CONTACTOR: Contactor = Contactor {
    point: "supply_contactor",
    name: "supply contactor",
    with: None,
    shows: None,
};

/// Orders that move nothing but the bench's own burden and reference, which no item sees as a source.
pub(crate) fn moves_the_bench_only(order: &Order) -> bool {
    matches!(order.point.as_str(), "burden" | "reference")
}
