//! Parameters of the virtual charger's control side and of its bench: pilot circuit, decoder, decisions, proximity, low voltage.

use super::super::parameters::{ANY, Parameter, p, t};

/// A charger and its bench.
#[rustfmt::skip]
pub(in super::super) static CHARGER: &[Parameter] = &[
    // nameplate
    p("supply_voltage", "V", 230.0, 0.0, "nominal supply voltage of the nameplate"),
    p("supply_frequency", "Hz", 50.0, 1.0, "nominal supply frequency of the nameplate"),
    p("dc_voltage", "V", 420.0, 0.0, "highest voltage of the DC output"),
    p("dc_current", "A", 18.0, 0.0, "rated current of the DC output"),
    p("low_voltage", "V", 12.0, 0.0, "nominal voltage of the low-voltage supply"),
    p("efficiency", "1", 0.945, 0.0, "efficiency at rated power by the type data of the nameplate"),
    p("filter_capacitance", "F", 2.2e-6, 0.0, "capacitance between the AC pins by the type data of the nameplate"),
    p("output_capacitance", "F", 30e-6, 0.0, "capacitance of the DC output by the type data of the nameplate"),
    p("output_series_resistance", "Ω", 0.008, 0.0, "resistance in series with that capacitance by the type data of the nameplate"),
    p("coolant_temperature", "K", 323.15, 0.0, "highest temperature of the coolant at rated power by the type data of the nameplate"),
    p("insulation_voltage", "V", 500.0, 0.0, "highest test voltage of the nameplate"),
    // pilot circuit
    t("r2", "Ω", 2740.0, (2657.8, 2822.2), 1.0, "R2, always behind the diode"),
    t("r3", "Ω", 1300.0, (1261.0, 1339.0), 1.0, "R3, which S2 puts beside R2; 1e9 is open"),
    t("diode_v", "V", 0.7, (0.55, 0.85), 0.0, "forward voltage of the pilot's diode at 5 mA and 25 °C"),
    p("diode_slope", "V", 0.026, 0.0, "growth of that voltage with the natural logarithm of the current"),
    p("diode_tc", "V/K", -0.002, ANY, "growth of that voltage with the temperature"),
    p("diode_shorted", "1", 0.0, 0.0, "1: the diode is shorted"),
    p("diode_open", "1", 0.0, 0.0, "1: the diode is open"),
    p("r_diode_reverse", "Ω", 1e9, 1.0, "resistance of the diode while it blocks"),
    p("r_cp_leak", "Ω", 1e9, 1.0, "leakage from the pilot to PE"),
    t("c_vehicle", "F", 1e-9, (0.3e-9, 2.2e-9), 1e-12, "capacitance from the pilot to PE"),
    // decoder
    t("th_pilot", "V", 2.0, (1.5, 2.5), ANY, "threshold of the comparator that reads the pulse"),
    p("th_fault", "V", -6.0, ANY, "a steady pilot below this is state F"),
    t("n_average", "1", 100.0, (50.0, 200.0), 1.0, "pulses over which the duty is averaged"),
    p("t_task", "s", 0.02, 0.0, "period of the task that reads the decoder"),
    p("t_loss", "s", 0.01, 0.0, "time without an edge after which the pulse counts as gone"),
    p("d_gain", "1", 1.0, 0.0, "ratio of the duty read to the duty at the comparator"),
    p("d_offset", "1", 0.0, -1.0, "error of the duty read; 0.01 is one percentage point"),
    t("f_lowest", "Hz", 920.0, (900.0, 940.0), 1.0, "lowest frequency of a pulse that counts as an offer"),
    t("f_highest", "Hz", 1080.0, (1060.0, 1100.0), 1.0, "highest frequency of a pulse that counts as an offer"),
    // decisions
    t("t_wake", "s", 0.4, (0.1, 1.0), 0.0, "time from a reason to wake to a working control"),
    p("t_sleep", "s", 20.0, 0.0, "time without a pilot until the control sleeps"),
    t("t_ready", "s", 1.5, (0.5, 4.0), 0.0, "time from an offer to closing S2, self-tests included"),
    t("t_stop", "s", 0.6, (0.2, 1.5), 0.0, "time from the end of an offer to opening S2: the current is brought down first"),
    t("t_fault", "s", 0.03, (0.01, 0.06), 0.0, "time from state F, or from a pilot that is gone, to opening S2"),
    t("t_latch", "s", 0.03, (0.01, 0.06), 0.0, "time from a pressed latch to opening S2"),
    p("t_no_supply", "s", 60.0, 0.0, "time for which it waits with S2 closed for an AC supply"),
    p("draws_x1", "1", 0.0, 0.0, "1: a steady high pilot is taken as an offer"),
    p("ignores_x1", "1", 0.0, 0.0, "1: S2 stays closed when the offer ends in a steady high pilot"),
    p("ignores_fault", "1", 0.0, 0.0, "1: S2 stays closed in state F and when the pilot is gone"),
    p("ignores_latch", "1", 0.0, 0.0, "1: proximity is not looked at"),
    // proximity
    t("pp_supply", "V", 5.0, (4.75, 5.25), 0.0, "supply of the proximity circuit"),
    t("r4", "Ω", 330.0, (313.5, 346.5), 1.0, "R4, from that supply to proximity"),
    t("r5", "Ω", 2700.0, (2430.0, 2970.0), 1.0, "R5, from proximity to PE"),
    t("pp_latched", "1", 0.42, (0.40, 0.44), 0.0, "ratio to its supply below which proximity is read as latched"),
    t("pp_pressed", "1", 0.72, (0.70, 0.74), 0.0, "ratio to its supply below which proximity is read as a pressed button; above it nothing is plugged in"),
    // low voltage
    t("lv_lowest", "V", 7.5, (6.5, 8.5), 0.0, "low voltage from which the control works"),
    p("lv_fuse_open", "1", 0.0, 0.0, "1: nothing is behind the low-voltage pins"),
    t("p_awake", "W", 5.0, (3.5, 7.0), 0.0, "power out of the low-voltage supply while awake"),
    t("i_asleep", "A", 0.5e-3, (0.1e-3, 1.2e-3), 0.0, "current out of the low-voltage supply while asleep"),
    p("never_sleeps", "1", 0.0, 0.0, "1: the control stays awake without a pilot"),
    // AC pins, dead
    p("ac_fuse_open", "1", 0.0, 0.0, "1: the fuse behind the AC pins is blown"),
    t("r_x_discharge", "Ω", 1e6, (0.9e6, 1.1e6), 1.0, "resistor that discharges the X capacitors behind the fuse"),
    p("r_iso", "Ω", 50e6, 1.0, "insulation from each AC pin to PE"),
    // bench
    p("bench_r_source", "Ω", 1000.0, 1.0, "the pilot source's own resistor"),
    p("bench_t_rise", "s", 0.2e-6, 1e-9, "10 to 90 % transition of the pilot source, without load"),
    p("bench_c_source", "F", 300e-12, 1e-12, "capacitance of the pilot source with its lead"),
    p("bench_r_meter", "Ω", 10e6, 1.0, "what the bench's inputs always put across pilot, AC pins and proximity"),
];
