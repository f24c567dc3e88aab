//! Every severity of every shipped defect breaks the limit of the first of its steps that is known here, with perfect
//! instruments; and no item within its tolerances breaks any.

use crate::readings::{breaks, knows, noticed};
use pilotage_core::Quantity;
use pilotage_virtual::physics::{ItemSort, Parameter, parameters};
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::PathBuf;

/// A defect's file, as far as physics needs it.
struct Defect {
    id: String,
    noticed_by: Vec<String>,
    severities: Vec<(String, Vec<(String, f64)>)>,
}

/// Every shipped defect of a kind of item.
fn shipped(kind: &str) -> Vec<Defect> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../sequences/defects");
    let folder = folder.join(kind);
    let mut paths: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    paths.sort();
    paths
        .iter()
        .map(|path| defect(&serde_saphyr::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()))
        .collect()
}

fn defect(file: &Value) -> Defect {
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let changes = |changes: &Value| {
        let map = changes.as_object().unwrap();
        map.iter().map(|(name, value)| (name.clone(), amount(value))).collect()
    };
    Defect {
        id: text(&file["id"]),
        noticed_by: file["noticed_by"].as_array().unwrap().iter().map(text).collect(),
        severities: file["severities"]
            .as_object()
            .unwrap()
            .iter()
            .map(|(severity, given)| (severity.clone(), changes(given)))
            .collect(),
    }
}

/// A number, or a number with its unit, in coherent SI units.
fn amount(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| Quantity::parse(value.as_str().unwrap()).unwrap().si())
}

/// What each severity that it has makes of a parameter, from the mildest on.
fn by_severity(defect: &Defect, parameter: &str) -> Vec<f64> {
    let of = |wanted: &str| {
        let (_, changes) = defect.severities.iter().find(|(severity, _)| severity == wanted)?;
        let (_, value) = changes.iter().find(|(name, _)| name == parameter)?;
        Some(*value)
    };
    ["edge", "plain", "gross"].into_iter().filter_map(of).collect()
}

#[test]
fn a_graver_severity_lies_farther_out() {
    let mut compared = 0;
    for kind in ["wall_unit", "onboard_charger", "inlet", "cable_assembly"] {
        for defect in shipped(kind) {
            let names: BTreeSet<&String> = defect
                .severities
                .iter()
                .flat_map(|(_, all)| all)
                .map(|(name, _)| name)
                .collect();
            for name in names {
                let [edge, plain, gross] = by_severity(&defect, name)[..] else {
                    continue;
                };
                let in_order = (edge <= plain && plain <= gross) || (edge >= plain && plain >= gross);
                assert!(in_order, "{kind} {}: {name} is {edge}, {plain}, {gross}", defect.id);
                compared += 1;
            }
        }
    }
    assert!(compared >= 60, "only {compared} parameters have all severities");
}

/// Rooms of 5 °C, 23 °C and 40 °C, K: the bench's diode and every resistance of copper follow.
const ROOMS_K: [f64; 3] = [278.15, 296.15, 313.15];

#[test]
fn each_severity_of_each_shipped_defect_breaks_its_step_cold_and_warm() {
    let defects = shipped("wall_unit");
    assert!(defects.len() > 30, "only {} defects were found", defects.len());
    for defect in defects {
        let step = defect.noticed_by.iter().find(|step| knows(step));
        let step = step.unwrap_or_else(|| panic!("{}: none of its steps is known here", defect.id));
        for (severity, changes) in &defect.severities {
            let changes = changes.iter().map(|(name, value)| (name.as_str(), *value));
            for room_k in ROOMS_K {
                let changes: Vec<_> = changes.clone().chain([("ambient", room_k)]).collect();
                assert!(
                    breaks(step, &changes),
                    "{} {severity} {changes:?} must break {step}",
                    defect.id
                );
            }
        }
    }
}

#[test]
fn a_healthy_item_breaks_nothing_cold_and_warm() {
    for room_k in ROOMS_K {
        assert_eq!(noticed(&[("ambient", room_k)]), BTreeSet::new(), "{room_k} K");
    }
}

/// A toleranced parameter at ±95 % of its way to an edge.
fn at(parameter: &Parameter, up: bool) -> Option<(&'static str, f64)> {
    let (low, high) = parameter.tolerance?;
    let edge = if up { high } else { low };
    Some((parameter.name, parameter.healthy + 0.95 * (edge - parameter.healthy)))
}

#[test]
fn an_item_with_one_parameter_near_its_edge_breaks_nothing() {
    for parameter in parameters(ItemSort::WallUnit) {
        for up in [false, true] {
            if let Some(change) = at(parameter, up) {
                assert_eq!(noticed(&[change]), BTreeSet::new(), "{change:?}");
            }
        }
    }
}

#[test]
fn items_with_every_parameter_near_an_edge_break_nothing() {
    let toleranced: Vec<&Parameter> = parameters(ItemSort::WallUnit)
        .filter(|p| p.tolerance.is_some())
        .collect();
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
