//! Parameters of what a charger says and is told over its bus.

use super::super::parameters::{Parameter, p, t};

/// A charger's side of the bus.
#[rustfmt::skip]
pub(in super::super) static FRAMES: &[Parameter] = &[
    t("status_period", "1", 1.0, (0.95, 1.05), 0.01, "period of its frames by the one that the file of frames says"),
    p("status_jitter", "s", 1e-3, 0.0, "standard deviation of the moment at which a frame is sent"),
    p("status_lost", "1", 0.0, 0.0, "one status frame in so many is not sent; 0: none"),
    p("status_counter_stands", "1", 0.0, 0.0, "1: the counter of its frames stands"),
    p("status_checksum_wrong", "1", 0.0, 0.0, "1: the checksum of its frames is wrong"),
    p("reports_latched", "1", 0.0, 0.0, "1: it says latched whatever it reads from proximity"),
    t("command_timeout", "1", 5.0, (3.0, 6.0), 1.0, "periods without a command that counts after which it stops"),
    t("command_recovery", "1", 3.0, (2.0, 5.0), 1.0, "commands that count one after the other before it goes on"),
    p("no_command_timeout", "1", 0.0, 0.0, "1: it goes on without commands"),
    p("ignores_counter", "1", 0.0, 0.0, "1: a command whose counter stands counts"),
    p("ignores_checksum", "1", 0.0, 0.0, "1: a command with a wrong checksum counts"),
    p("no_clamp", "1", 0.0, 0.0, "1: it accepts set-points beyond its nameplate"),
    t("t_command_stop", "s", 0.15, (0.1, 0.25), 0.0, "time from commands that count as missing to opening S2: the current is brought down first"),
    t("t_bus_restart", "s", 0.1, (0.05, 0.3), 0.0, "time from bus-off until its controller is started again"),
    p("no_bus_restart", "1", 0.0, 0.0, "1: after bus-off its controller stays off"),
];
