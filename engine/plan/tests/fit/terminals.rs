//! Where every point of every kind is found on the item: the hook-up page leaves none out.

use pilotage_evidence::ItemKind;
use pilotage_plan::fit::points::{all_names, find_point};
use pilotage_plan::kind::{Found, place_words, table_of, terminals};
use std::collections::BTreeSet;

const KINDS: [ItemKind; 7] = [
    ItemKind::WallUnit,
    ItemKind::PortableCord,
    ItemKind::OnboardCharger,
    ItemKind::Inlet,
    ItemKind::CableAssembly,
    ItemKind::ChargingSession,
    ItemKind::Bench,
];

/// Every kind that has a table, with all its points.
fn every_point(mut with: impl FnMut(ItemKind, &str, Found)) {
    let mut count = 0;
    for kind in KINDS.into_iter().filter(|kind| table_of(*kind).is_some()) {
        count += 1;
        for point in all_names(kind) {
            let found = terminals(kind, &point).unwrap_or_else(|| panic!("{kind:?} {point} is found nowhere"));
            with(kind, &point, found);
        }
    }
    assert!(count >= 4, "{count} kinds have a table");
}

#[test]
fn every_point_of_every_kind_is_found_somewhere() {
    every_point(|kind, point, found| {
        let places: Vec<String> = match found {
            Found::Between(high, low) => {
                assert_ne!(high, low, "{kind:?} {point}");
                vec![high.at, low.at]
            }
            Found::Through(terminal) => vec![terminal.at],
            Found::Power { at, .. } | Found::Every(at) => vec![at],
            Found::Part(words) | Found::Bench(words) => {
                assert!(!words.is_empty(), "{kind:?} {point}");
                Vec::new()
            }
        };
        for at in places {
            assert!(!place_words(kind, &at).is_empty(), "{kind:?} {point} at {at}");
        }
    });
    assert_eq!(terminals(ItemKind::WallUnit, "no.such_point"), None);
}

/// What carries mains, and all that is proven dead, hangs on conductors: it may never be told as a mere part.
#[test]
fn what_is_dangerous_hangs_on_conductors() {
    every_point(|kind, point, found| {
        let shape = find_point(kind, point).unwrap().shape;
        if shape.mains {
            let on_conductors = matches!(found, Found::Between(..) | Found::Through(_));
            assert!(on_conductors, "{kind:?} {point}: {found:?}");
        }
    });
}

#[test]
fn both_ends_of_what_is_proven_dead_are_the_pair_itself() {
    for kind in KINDS {
        let Some(table) = table_of(kind) else { continue };
        for place in table.dead {
            let points = all_names(kind).into_iter();
            let voltages: Vec<String> = points
                .filter(|point| point.starts_with(&format!("{}[", place.at)) && point.ends_with("].voltage"))
                .collect();
            assert!(!voltages.is_empty(), "{kind:?} {}", place.at);
            for point in voltages {
                let pair = point.split(['[', ']']).nth(1).unwrap();
                let Some(Found::Between(high, low)) = terminals(kind, &point) else {
                    panic!("{kind:?} {point}")
                };
                assert_eq!((high.at.as_str(), low.at.as_str()), (place.at, place.at), "{point}");
                assert_eq!(format!("{}-{}", high.conductor, low.conductor), pair, "{point}");
            }
        }
    }
}

/// By hand, for the kinds that are easy to get wrong.
#[test]
fn paths_go_from_one_side_of_the_item_to_the_other() {
    let ends = |kind, point: &str| match terminals(kind, point) {
        Some(Found::Between(high, low)) => format!("{} {} – {} {}", high.at, high.conductor, low.at, low.conductor),
        other => format!("{other:?}"),
    };
    assert_eq!(ends(ItemKind::WallUnit, "path[L].voltage"), "ac_input L – ac_output L");
    assert_eq!(
        ends(ItemKind::CableAssembly, "path[L-N].continuity"),
        "plug L – contacts N"
    );
    assert_eq!(
        ends(ItemKind::CableAssembly, "path[PE].resistance"),
        "plug PE – contacts PE"
    );
    assert_eq!(ends(ItemKind::Inlet, "path[L].resistance"), "contacts L – wires L");
    assert_eq!(ends(ItemKind::OnboardCharger, "pilot"), "ac_input CP – ac_input PE");
    assert_eq!(
        ends(ItemKind::OnboardCharger, "dc_output.voltage"),
        "dc_output plus – dc_output minus"
    );
    assert_eq!(
        ends(ItemKind::WallUnit, "proximity.resistance"),
        "ac_output PP – ac_output PE"
    );
    let charger = |point| ends(ItemKind::OnboardCharger, point);
    assert_eq!(charger("insulation[ac-dc].resistance"), "ac_input all – dc_output all");
    assert_eq!(charger("insulation[plus-PE].resistance"), "dc_output plus – housing PE");
    assert_eq!(charger("bond.resistance"), "housing PE – ac_input PE");
    let through = |point, at: &str, conductor: &str| {
        let found = terminals(ItemKind::OnboardCharger, point);
        matches!(found, Some(Found::Through(terminal)) if (terminal.at.as_str(), terminal.conductor.as_str()) == (at, conductor))
    };
    assert!(through("pe.current", "ac_input", "PE") && through("dc_output[plus]", "dc_output", "plus"));
    assert!(through("dc_output.current", "dc_output", "plus"));
    let on_bench = |point| matches!(terminals(ItemKind::WallUnit, point), Some(Found::Bench(_)));
    assert!(on_bench("pilot_load.path_resistance") && on_bench("reference.voltage"));
    let names: BTreeSet<String> = all_names(ItemKind::WallUnit).into_iter().collect();
    assert!(names.contains("ac_output[L].current"));
    assert!(matches!(
        terminals(ItemKind::WallUnit, "ac_output[L].current"),
        Some(Found::Through(_))
    ));
}
