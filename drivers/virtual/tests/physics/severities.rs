//! Every severity of every defect that the first acceptance claims breaks the limit of its step, with perfect
//! instruments; and no item within its tolerances breaks any.

use crate::readings::{breaks, noticed};
use pilotage_virtual::physics::{Parameter, parameters};
use std::collections::BTreeSet;

type Changes = &'static [(&'static str, f64)];

/// Id, the step that must see it, and the changes of edge, plain and gross (a binary defect has one).
const DEFECTS: &[(&str, &str, &[Changes])] = &[
    (
        "W01",
        "WU-12",
        &[&[("v_pos", 11.28)], &[("v_pos", 11.0)], &[("v_pos", 9.0)]],
    ),
    (
        "W02",
        "WU-12",
        &[&[("v_pos", 12.72)], &[("v_pos", 13.1)], &[("v_pos", 15.0)]],
    ),
    (
        "W03",
        "WU-14",
        &[&[("v_neg", -11.28)], &[("v_neg", -10.2)], &[("v_neg", -8.4)]],
    ),
    (
        "W04",
        "WU-14",
        &[
            &[("r_source", 1036.0)],
            &[("r_source", 1150.0)],
            &[("r_source", 1300.0)],
        ],
    ),
    ("W05", "WU-15", &[&[("f", 1006.0)], &[("f", 1030.0)], &[("f", 1100.0)]]),
    (
        "W06",
        "WU-16",
        &[
            &[("d_offset", -0.006)],
            &[("d_offset", -0.012)],
            &[("d_offset", -0.025)],
        ],
    ),
    (
        "W07",
        "WU-16",
        &[&[("rated_set", 32.5)], &[("rated_set", 40.0)], &[("rated_set", 16.0)]],
    ),
    (
        "W09",
        "WU-17",
        &[&[("c_source", 3.7e-9)], &[("c_source", 6.8e-9)], &[("c_source", 15e-9)]],
    ),
    (
        "W10",
        "WU-12",
        &[&[("v_hum", 0.12)], &[("v_hum", 0.3)], &[("v_hum", 0.5)]],
    ),
    (
        "W11",
        "WU-16",
        &[&[("jitter", 0.0007)], &[("jitter", 0.004)], &[("jitter", 0.01)]],
    ),
    ("W12", "WU-12", &[&[("pwm_in_a", 1.0)]]),
    ("W13", "WU-13", &[&[("pwm_enable", 0.0)]]),
    ("W14", "WU-19", &[&[("r_coil", 1e9)]]),
    (
        "W15",
        "WU-19",
        &[
            &[("t_close_logic", 3.1)],
            &[("t_close_logic", 4.2)],
            &[("t_close_logic", 10.0)],
        ],
    ),
    (
        "W16",
        "WU-21",
        &[
            &[("t_open_logic", 0.12)],
            &[("t_open_logic", 0.34)],
            &[("t_open_logic", 0.5)],
        ],
    ),
    ("W17", "WU-04", &[&[("pole_l_stuck", 1.0)]]),
    ("W18", "WU-04", &[&[("pole_n_stuck", 1.0)]]),
    ("W19", "WU-11", &[&[("pole_l_stuck", 1.0), ("pole_n_stuck", 1.0)]]),
    ("W21", "WU-24", &[&[("check_vneg", 0.0)]]),
    ("W21b", "WU-18", &[&[("closes_in_b", 1.0)]]),
    ("W22", "WU-19", &[&[("p_fail", 0.05)]]),
    ("W23", "WU-23", &[&[("check_short", 0.0)]]),
    ("W24", "WU-25", &[&[("accepts_d", 1.0)]]),
    (
        "W34",
        "WU-40",
        &[&[("r_pole", 0.016)], &[("r_pole", 0.025)], &[("r_pole", 0.05)]],
    ),
    ("W45", "WU-20", &[&[("perm", 1.0)]]),
    ("W46", "WU-20", &[&[("n_pole_open", 1.0)]]),
    (
        "W50",
        "WU-26",
        &[&[("th_bc", 6.9)], &[("th_bc", 6.4)], &[("th_bc", 5.5)]],
    ),
    (
        "W52",
        "WU-21",
        &[&[("tau_state", 0.12)], &[("tau_state", 0.8)], &[("tau_state", 2.0)]],
    ),
];

#[test]
fn each_severity_breaks_its_step() {
    for (id, step, severities) in DEFECTS {
        for changes in *severities {
            assert!(breaks(step, changes), "{id} {changes:?} must break {step}");
        }
    }
}

#[test]
fn a_healthy_item_breaks_nothing() {
    assert_eq!(noticed(&[]), BTreeSet::new());
}

/// A toleranced parameter at ±95 % of its way to an edge.
fn at(parameter: &Parameter, up: bool) -> Option<(&'static str, f64)> {
    let (low, high) = parameter.tolerance?;
    let edge = if up { high } else { low };
    Some((parameter.name, parameter.healthy + 0.95 * (edge - parameter.healthy)))
}

#[test]
fn an_item_with_one_parameter_near_its_edge_breaks_nothing() {
    for parameter in parameters() {
        for up in [false, true] {
            if let Some(change) = at(parameter, up) {
                assert_eq!(noticed(&[change]), BTreeSet::new(), "{change:?}");
            }
        }
    }
}

#[test]
fn items_with_every_parameter_near_an_edge_break_nothing() {
    let toleranced: Vec<&Parameter> = parameters().iter().filter(|p| p.tolerance.is_some()).collect();
    for number in 0..10_u64 {
        // Any fixed rule that mixes signs will do: bits of a multiplied number.
        let signs = (number + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        let changes: Vec<_> = toleranced
            .iter()
            .enumerate()
            .filter_map(|(k, parameter)| at(parameter, (signs >> (k + 8)) & 1 == 1))
            .collect();
        assert_eq!(noticed(&changes), BTreeSet::new(), "{changes:?}");
    }
}
