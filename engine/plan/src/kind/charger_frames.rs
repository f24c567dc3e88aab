//! The points of a charger's bus: what it is told, and what it says of itself.

use super::columns::{A, PointShape, V, input, read_amount, set_amount, switch};
use pilotage_core::Dimension;

/// What a charger is told and says over a bus, by the names that a file of frames gives to its signals.
pub(super) const FRAMES: &[PointShape] = &[
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
