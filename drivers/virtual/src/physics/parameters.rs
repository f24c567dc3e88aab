//! Every parameter of the virtual item and its bench: one table for defects, documents and tolerance corners.

use std::collections::BTreeMap;

use super::api::{ItemSort, UnknownParameter};
use super::charger::{CHARGER, POWER};
use super::frames::FRAMES;

/// One parameter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parameter {
    /// As written in `virtual` of an item and in a defect.
    pub name: &'static str,
    /// Coherent SI unit, `1` for a ratio or a yes (1) / no (0).
    pub unit: &'static str,
    /// The value of a healthy, nominal item.
    pub healthy: f64,
    /// The range within which an item is still healthy, where the parameter is toleranced.
    pub tolerance: Option<(f64, f64)>,
    /// The smallest value that has a physical meaning.
    pub at_least: f64,
    /// What it is.
    pub meaning: &'static str,
}

pub(super) const fn p(
    name: &'static str,
    unit: &'static str,
    healthy: f64,
    at_least: f64,
    meaning: &'static str,
) -> Parameter {
    Parameter {
        name,
        unit,
        healthy,
        tolerance: None,
        at_least,
        meaning,
    }
}

pub(super) const fn t(
    name: &'static str,
    unit: &'static str,
    healthy: f64,
    (low, high): (f64, f64),
    at_least: f64,
    meaning: &'static str,
) -> Parameter {
    Parameter {
        name,
        unit,
        healthy,
        tolerance: Some((low, high)),
        at_least,
        meaning,
    }
}

pub(super) const ANY: f64 = f64::MIN;

/// Every parameter of an item of this sort and of its bench, in the order of the document that is made from it.
pub fn parameters(item: ItemSort) -> impl Iterator<Item = &'static Parameter> + Clone {
    let (own, more, bus): (&[Parameter], &[Parameter], &[Parameter]) = match item {
        ItemSort::WallUnit => (WALL_UNIT, &[], &[]),
        ItemSort::OnboardCharger => (CHARGER, POWER, FRAMES),
        ItemSort::Inlet => (CONTACTS, INLET, &[]),
        ItemSort::CableAssembly => (CONTACTS, CABLE, &[]),
    };
    COMMON.iter().chain(own).chain(more).chain(bus)
}

/// The healthy values, replaced by those given.
pub(super) fn resolve(
    item: ItemSort,
    given: &BTreeMap<String, f64>,
) -> Result<BTreeMap<&'static str, f64>, UnknownParameter> {
    let mut values: BTreeMap<&'static str, f64> = parameters(item).map(|p| (p.name, p.healthy)).collect();
    for (name, &value) in given {
        let parameter = find(item, name)?;
        if !value.is_finite() || value < parameter.at_least {
            return Err(UnknownParameter::Value {
                name: name.clone(),
                value,
                at_least: parameter.at_least,
                unit: parameter.unit,
            });
        }
        values.insert(parameter.name, value);
    }
    Ok(values)
}

fn find(item: ItemSort, name: &str) -> Result<&'static Parameter, UnknownParameter> {
    parameters(item)
        .find(|p| p.name == name)
        .ok_or_else(|| UnknownParameter::Name {
            name: name.to_owned(),
            nearest: parameters(item)
                .min_by_key(|p| distance(name, p.name))
                .map_or("", |p| p.name),
        })
}

/// Edit distance, in single letters.
fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, from) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, &to) in b.iter().enumerate() {
            let substituted = diagonal + usize::from(from != to);
            diagonal = row[j + 1];
            row[j + 1] = substituted.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}

/// What every item and every bench has.
#[rustfmt::skip]
static COMMON: &[Parameter] = &[
    p("rated_current", "A", 32.0, 0.0, "rated current of the nameplate"),
    p("cable_length", "m", 5.0, 0.0, "length of the tethered cable"),
    p("cable_area", "m²", 6e-6, 1e-8, "copper area of one conductor of the cable"),
    p("ambient", "K", 296.15, 1.0, "temperature of the room"),
    p("bench_v_reference", "V", 50.0, 0.0, "the reference that proves the meter"),
    p("bench_t_guard", "s", 0.01, 0.0, "time in which the supply contactor opens"),
];

/// A wall unit and its bench.
#[rustfmt::skip]
static WALL_UNIT: &[Parameter] = &[
    // nameplate
    p("supply_voltage", "V", 230.0, 0.0, "nominal supply voltage of the nameplate"),
    p("supply_frequency", "Hz", 50.0, 1.0, "nominal supply frequency of the nameplate"),
    // pilot generator
    t("v_pos", "V", 12.0, (11.4, 12.6), 0.0, "high rail of the pilot generator"),
    t("v_neg", "V", -12.0, (-12.6, -11.4), ANY, "low rail of the pilot generator"),
    t("r_source", "Ω", 1000.0, (970.0, 1030.0), 1.0, "source resistance of the pilot generator"),
    t("f", "Hz", 1000.0, (995.0, 1005.0), 10.0, "frequency of the pilot generator"),
    t("d_offset", "1", 0.0, (-0.005, 0.005), -1.0, "error of the generated duty cycle; 0.01 is one percentage point"),
    p("jitter", "1", 0.0001, 0.0, "standard deviation of the duty cycle from one period to the next; 0.01 is one point"),
    p("t_tick", "s", 125e-9, 0.0, "step of the timer that makes the duty cycle; 0 for none"),
    t("t_rise", "s", 0.2e-6, (0.1e-6, 0.3e-6), 1e-9, "10 to 90 % transition of the generator's own source"),
    t("c_source", "F", 300e-12, (280e-12, 320e-12), 1e-12, "capacitance of the pilot at the item, without its cable"),
    p("c_cable", "F/m", 100e-12, 0.0, "capacitance of the cable's pilot conductor to PE, per metre"),
    p("v_hum", "V", 0.0, 0.0, "mains hum in the pilot's source, peak to peak"),
    p("r_cp_leak", "Ω", 1e9, 1.0, "leakage from the pilot to PE"),
    // state logic
    t("th_ab", "V", 10.5, (10.4, 10.6), ANY, "threshold between states A and B"),
    t("th_bc", "V", 7.5, (7.4, 7.6), ANY, "threshold between states B and C"),
    t("th_cd", "V", 4.5, (4.4, 4.6), ANY, "threshold between states C and D"),
    p("th_de", "V", 1.8, ANY, "threshold between states D and E"),
    p("th_hysteresis", "V", 0.1, 0.0, "hysteresis of each threshold, from one edge to the other"),
    p("th_vneg", "V", -10.0, ANY, "the low level must lie below this for the diode check"),
    p("tau_state", "s", 2e-3, 0.0, "time constant of the low-pass on the sampled pilot levels"),
    p("t_sample", "s", 1e-3, 1e-5, "period at which the item samples the pilot"),
    p("debounce", "1", 8.0, 1.0, "consecutive samples that must agree before a state is believed"),
    p("pwm_enable", "1", 1.0, 0.0, "1: authorised, PWM starts with a vehicle; 0: waits for ever"),
    p("t_auth", "s", 1.0, 0.0, "time from plugging in to authorisation"),
    p("pwm_in_a", "1", 0.0, 0.0, "1: PWM runs without a vehicle (state table wrong)"),
    p("rated_set", "A", 0.0, 0.0, "current that the item is set to; 0: as the nameplate"),
    p("map", "1", 0.0, 0.0, "1: the rule of 0.6 A per point is used above 85 % as well"),
    t("t_close_logic", "s", 0.06, (0.02, 0.12), 0.0, "time from a believed state C to driving the coil, self-tests included"),
    t("t_open_logic", "s", 0.015, (0.005, 0.025), 0.0, "time from a believed reason to open to releasing the coil"),
    p("t_reclose", "s", 1.0, 0.0, "shortest time between two closings"),
    p("t_recover", "s", 3.0, 0.0, "steady high level before PWM runs again after a fault that went away"),
    p("check_vneg", "1", 1.0, 0.0, "1: the low level must be right before closing (diode check)"),
    p("closes_in_b", "1", 0.0, 0.0, "1: closes in state B already"),
    p("accepts_d", "1", 0.0, 0.0, "1: state D is taken as C although the nameplate has no ventilation"),
    p("check_short", "1", 1.0, 0.0, "1: state E opens the contactor"),
    p("check_pe", "1", 1.0, 0.0, "1: a lost protective conductor opens and latches a fault"),
    p("r_pe_limit", "Ω", 500.0, 0.0, "resistance of PE above which the item takes it as lost"),
    p("sense_weld", "1", 1.0, 0.0, "1: voltage at the output while open latches a fault"),
    p("check_overcurrent", "1", 1.0, 0.0, "1: opens when the current stays above the signalled one"),
    p("overcurrent_ratio", "1", 1.15, 1.0, "ratio to the signalled current from which the watch counts"),
    p("t_overcurrent", "s", 5.0, 0.0, "time above that ratio until it opens"),
    p("signal_fault", "1", 1.0, 0.0, "1: a latched fault shows as state F; 0: steady high level"),
    p("race_replug", "1", 0.0, 0.0, "1: closes in C without PWM when A was shorter than 1 s"),
    p("t_boot", "s", 1.5, 0.0, "time from power to a working generator"),
    p("e_holdup", "s", 0.06, 0.0, "time for which the item's electronics live on after power is lost"),
    p("v_electronics", "1", 0.5, 0.0, "ratio of nominal voltage below which the electronics lose power"),
    p("closes_at_return", "1", 0.0, 0.0, "1: closes as soon as power returns if it was closed before"),
    p("no_return", "1", 0.0, 0.0, "1: stays dead after a loss of power"),
    p("frozen", "1", 0.0, 0.0, "1: firmware stops deciding at the first closing; PWM and coil stay as they are"),
    // contactor
    p("r_coil", "Ω", 3000.0, 1.0, "resistance of the coil; 1e9 is an open coil"),
    t("v_pull", "1", 0.75, (0.70, 0.80), 0.0, "ratio of nominal voltage at which the coil pulls in"),
    t("v_drop", "1", 0.45, (0.35, 0.55), 0.0, "ratio of nominal voltage below which the coil drops out"),
    t("t_pull_in", "s", 0.018, (0.010, 0.025), 0.0, "time from driving the coil to the first touch of the L pole"),
    p("t_skew", "s", 0.0012, ANY, "how much later the N pole touches than the L pole"),
    p("bounces", "1", 2.0, 0.0, "number of bounces of each pole when closing"),
    t("t_bounce", "s", 0.0012, (0.0006, 0.002), 0.0, "length of the first bounce; each later one lasts 0.3 of the one before"),
    t("t_release", "s", 0.012, (0.008, 0.020), 0.0, "time from releasing the coil to the parting of the contacts"),
    p("tau_coil", "s", 0.0, 0.0, "time constant L/R with which the coil's current dies through a free-wheel diode; 0: without one"),
    p("pole_l_stuck", "1", 0.0, 0.0, "1: the L pole is welded"),
    p("pole_n_stuck", "1", 0.0, 0.0, "1: the N pole is welded"),
    p("n_pole_open", "1", 0.0, 0.0, "1: the N pole never conducts"),
    p("i2t_weld", "A²s", 20.0, 0.0, "∫i² dt of the arcs of one closing above which a bouncing pole may weld"),
    p("p_weld", "1", 1.0, 0.0, "probability that it then does"),
    p("p_fail", "1", 0.0, 0.0, "probability that a closing fails"),
    t("r_pole", "Ω", 0.003, (0.001, 0.005), 0.0, "resistance of one pole with its terminals at 25 °C, without cable"),
    p("alpha", "1/K", 0.0039, 0.0, "growth of r_pole with its temperature"),
    p("wear", "Ω", 0.0, 0.0, "growth of r_pole with each operation"),
    p("perm", "1", 0.0, 0.0, "1: L and N are crossed between contactor and outlet"),
    // mains, earth, leakage
    p("z_source", "Ω", 0.2, 0.0, "loop resistance of the supply, half in each conductor"),
    t("l_source", "H", 50e-6, (20e-6, 200e-6), 0.0, "loop inductance of the supply, half in each conductor"),
    t("supply_h3", "1", 0.004, (-0.01, 0.02), ANY, "third harmonic of the supply's voltage as a ratio of its fundamental; above 0 it flattens the top"),
    t("supply_h5", "1", -0.003, (-0.02, 0.01), ANY, "fifth harmonic, likewise; below 0 it flattens the top"),
    t("supply_h7", "1", 0.001, (-0.01, 0.01), ANY, "seventh harmonic, likewise; above 0 it flattens the top"),
    t("r_electrode", "Ω", 30.0, (5.0, 100.0), 0.0, "earth electrode of the item's installation, where the nameplate says TT"),
    p("r_source_earth", "Ω", 1.0, 0.0, "earth of the source's star point, where the nameplate says TT"),
    t("v_neutral", "V", 2.0, (-5.0, 5.0), ANY, "what other users put on the neutral against earth, in phase with L, where the nameplate says TT"),
    p("r_it", "Ω", 1e6, 1.0, "insulation of the source's star point against earth, where the nameplate says IT"),
    p("c_it", "F", 50e-9, 0.0, "capacitance of each conductor of the supply to earth, where the nameplate says IT"),
    p("r_pe", "Ω", 0.05, 0.0, "resistance of the protective conductor from its earth to the outlet"),
    p("c_y", "F", 4.7e-9, 0.0, "capacitance of each input conductor to PE"),
    p("r_iso", "Ω", 20e6, 1.0, "insulation from L to PE at the output"),
    p("c_stray", "F", 100e-12, 0.0, "capacitance across each open pole"),
    p("c_out", "F", 150e-12, 0.0, "capacitance of each output conductor to PE"),
    p("p_standby", "W", 4.0, 0.0, "power of the item's electronics"),
    // proximity
    p("r_pp", "Ω", 0.0, 0.0, "resistor from PP to PE in the connector; 0: as connector and rating want"),
    p("r_latch", "Ω", 330.0, 0.0, "resistor that the latch switch of a Type 1 connector puts in series when pressed"),
    p("latch_stuck", "1", 0.0, 0.0, "1: latch switch always closed; 2: always open"),
    // heat
    t("r_th_contact", "K/W", 2.0, (1.0, 3.0), 0.0, "thermal resistance of the contact's node"),
    p("tau_contact", "s", 60.0, 1e-3, "thermal time constant of the contact's node"),
    t("r_th_terminal", "K/W", 5.0, (3.0, 7.0), 0.0, "thermal resistance of the terminal's node"),
    p("tau_terminal", "s", 900.0, 1e-3, "thermal time constant of the terminal's node"),
    t("r_th_cable", "K/W", 1.0, (0.6, 1.4), 0.0, "thermal resistance of the cable's node, for the loss of one conductor"),
    // 1.72e-8 is what the limit of the contact path reckons with; IEC 60228 (from memory) allows a flexible conductor 1.98e-8.
    t("rho_cable", "Ω·m", 17.2e-9, (16.6e-9, 19.8e-9), 1e-9, "resistivity of the cable's copper at 20 °C, by its nominal area"),
    p("tau_cable", "s", 450.0, 1e-3, "thermal time constant of the cable's node"),
    p("k_T", "1", 1.0, 0.0, "1: the signalled current falls when hot; 0: it does not"),
    p("t_derate_low", "K", 343.15, 0.0, "sensed temperature at which the signalled current begins to fall"),
    p("t_derate_high", "K", 363.15, 0.0, "sensed temperature at which nothing is signalled any more"),
    p("sensor_offset", "K", 0.0, ANY, "error of the item's own temperature sensor"),
    // bench
    p("bench_r_b", "Ω", 2740.0, 1.0, "the bench's resistor of state B"),
    p("bench_r_c", "Ω", 1300.0, 1.0, "the bench's resistor that is put beside it in state C"),
    p("bench_r_d", "Ω", 270.0, 1.0, "the bench's resistor that is put beside it in state D"),
    p("bench_r_e", "Ω", 80.0, 0.1, "the bench's resistor of state E"),
    p("bench_r_relay", "Ω", 0.1, 0.0, "resistance of the bench's relay path to the pilot"),
    p("bench_diode_v", "V", 0.7, 0.0, "forward voltage of the bench's diode at 5 mA and 25 °C"),
    p("bench_diode_slope", "V", 0.026, 0.0, "growth of that voltage with the natural logarithm of the current"),
    p("bench_diode_tc", "V/K", -0.002, ANY, "growth of that voltage with the ambient temperature"),
    p("bench_diode_reversed", "1", 0.0, 0.0, "1: the leads of the bench's diode are exchanged"),
    p("bench_diode_broken", "1", 0.0, 0.0, "1: the bench's diode is open"),
    p("bench_diode_never_shorted", "1", 0.0, 0.0, "1: the relay that shorts the bench's diode does not close"),
    p("bench_burden", "Ω", 100e3, 1.0, "the burden on each output pair"),
    p("bench_r_meter", "Ω", 10e6, 1.0, "what the bench's inputs always put on each output pair"),
];

/// Contacts of inlets and cables, and their bench.
#[rustfmt::skip]
static CONTACTS: &[Parameter] = &[
    p("insulation_voltage", "V", 500.0, 0.0, "rated insulation voltage of the nameplate"),
    t("r_contact_l", "Ω", 0.0004, (0.0002, 0.0006), 0.0, "resistance of the L contact at 25 °C"),
    t("r_contact_n", "Ω", 0.0004, (0.0002, 0.0006), 0.0, "resistance of the N contact at 25 °C"),
    t("r_contact_pe", "Ω", 0.0006, (0.0003, 0.0009), 0.0, "resistance of the PE contact at 25 °C"),
    t("r_contact_signal", "Ω", 0.005, (0.002, 0.008), 0.0, "resistance of a pilot or proximity contact at 25 °C"),
    t("mating_spread", "1", 0.05, (0.0, 0.08), 0.0, "how far a contact's resistance may lie from its own from one mating to the next"),
    p("alpha", "1/K", 0.004, 0.0, "growth of a contact's resistance with its temperature"),
    p("r_pe_more", "Ω", 0.0, 0.0, "resistance that the PE path has besides"),
    t("r_iso", "Ω", 5e9, (1e9, 9e9), 1.0, "insulation of each power contact to each other one and to pilot and PE"),
    p("r_wet", "Ω", 1e12, 1.0, "leakage from each power contact to PE, through water or dirt"),
    p("r_cp_leak", "Ω", 20e9, 1.0, "leakage from pilot to PE"),
    p("r_cp_pp", "Ω", 20e9, 1e-3, "leakage from pilot to proximity"),
    t("c_cp", "F", 50e-12, (20e-12, 80e-12), 1e-13, "capacitance from pilot to PE, without a cable"),
    t("r_th_contact", "K/W", 4.0, (3.0, 5.0), 0.0, "thermal resistance of the contact's node"),
    p("tau_contact", "s", 60.0, 1e-3, "thermal time constant of the contact's node"),
    t("r_th_terminal", "K/W", 8.0, (6.0, 10.0), 0.0, "thermal resistance of the terminal's node"),
    p("tau_terminal", "s", 300.0, 1e-3, "thermal time constant of the terminal's node"),
    t("r_th_cable", "K/W", 1.0, (0.6, 1.4), 0.0, "thermal resistance of the cable's node, for the loss of one conductor"),
    p("tau_cable", "s", 300.0, 1e-3, "thermal time constant of the cable's node"),
    p("bench_burden", "Ω", 100e3, 1.0, "the burden on each pair of contacts"),
];

/// An inlet and its fixture.
#[rustfmt::skip]
static INLET: &[Parameter] = &[
    t("r_inlet", "Ω", 2700.0, (2430.0, 2970.0), 1e-3, "the inlet's own resistor from proximity to PE (R5)"),
    t("sensor_1_offset", "K", 0.0, (-0.6, 0.6), ANY, "error of the first temperature sensor"),
    t("sensor_2_offset", "K", 0.0, (-0.6, 0.6), ANY, "error of the second temperature sensor"),
    p("sensor_1_fault", "1", 0.0, 0.0, "1: the first temperature sensor is open; 2: it is short"),
    t("lock_v_start", "V", 6.5, (5.0, 8.0), 0.0, "voltage from which the lock's motor turns"),
    t("lock_t", "s", 0.3, (0.2, 0.5), 0.0, "travel of the lock's pin at 12 V"),
    p("lock_r", "Ω", 6.0, 0.1, "resistance of the lock's motor"),
    p("lock_lies", "1", 0.0, 0.0, "1: the lock's switch says what was asked for, not where the pin is"),
    p("bench_pp_v", "V", 5.0, 0.0, "the bench's supply of proximity"),
    p("bench_pp_r", "Ω", 330.0, 1.0, "the bench's resistor before proximity"),
    p("bench_pp_latched", "Ω", 150.0, 1.0, "what the bench shows as a latched connector"),
    p("bench_pp_pressed", "Ω", 480.0, 1.0, "what the bench shows as a connector whose release is pressed"),
];

/// A cable assembly.
#[rustfmt::skip]
static CABLE: &[Parameter] = &[
    t("r_core", "1", 1.0, (0.97, 1.03), 0.0, "resistance of the cores against that of their nominal copper"),
    p("signal_area", "m²", 0.5e-6, 1e-8, "copper area of the pilot core"),
    p("cp_open", "1", 0.0, 0.0, "1: the pilot core is broken"),
    p("crossed", "1", 0.0, 0.0, "1: L and N are crossed between plug and connector"),
    t("c_cable", "F/m", 100e-12, (60e-12, 180e-12), 0.0, "capacitance of the pilot core to PE, per metre"),
    p("r_pp", "Ω", 0.0, 0.0, "resistor from proximity to PE in the connector; 0: as connector and rating want"),
    p("r_pp_plug", "Ω", 0.0, 0.0, "resistor from proximity to PE in the plug; 0: as plug and rating want"),
    t("pp_type_1", "1", 1.0, (0.9, 1.1), 0.0, "proximity resistors of type 1 against their nominal value"),
    t("pp_type_2", "1", 1.0, (0.97, 1.03), 0.0, "proximity resistors of type 2, which code the rating, against their nominal value"),
    t("r_latch", "Ω", 330.0, (297.0, 363.0), 0.0, "resistor that the latch switch of a Type 1 connector puts in series when pressed"),
    p("latch_stuck", "1", 0.0, 0.0, "1: latch switch always closed; 2: always open"),
    p("gap_cp", "s", 0.0, 0.0, "length of the gaps of the pilot core while the cable is flexed"),
    p("gap_pe", "s", 0.0, 0.0, "length of the gaps of the PE core while the cable is pulled"),
    p("gap_latch", "s", 0.0, 0.0, "length of the openings of the latch switch while the cable is flexed"),
];
