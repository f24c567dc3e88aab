//! The table of shapes itself: described, with examples that the checks accept, and names that are used once.

#![allow(clippy::unwrap_used)]

use pilotage_plan::FileKind;
use pilotage_plan::render::{Form, render_all};
use pilotage_plan::shape::item::{nameplate_dimension, nameplate_names, nameplate_words};
use pilotage_plan::shape::table::{Record, Shape};
use std::collections::BTreeMap;

/// Every record that a shape leads to, by its name.
fn collect(shape: &'static Shape, found: &mut BTreeMap<&'static str, &'static Record>) {
    match shape {
        Shape::Map(record) => collect_record(record, found),
        Shape::List(of, ..) => collect(of, found),
        Shape::Either(choice) => {
            for shape in [choice.scalar, choice.list, choice.map].into_iter().flatten() {
                collect(shape, found);
            }
        }
        Shape::Variants(variants) => {
            for (_, record) in variants.forms {
                collect_record(record, found);
            }
        }
        _ => {}
    }
}

fn collect_record(record: &'static Record, found: &mut BTreeMap<&'static str, &'static Record>) {
    if let Some(known) = found.insert(record.name, record) {
        assert!(std::ptr::eq(known, record), "two records are called {}", record.name);
        return;
    }
    for key in record.all_keys() {
        collect(&key.shape, found);
    }
    if let Some(rest) = &record.rest {
        collect(&rest.value, found);
    }
}

fn all_records() -> BTreeMap<&'static str, &'static Record> {
    let mut found = BTreeMap::new();
    for kind in FileKind::ALL {
        collect_record(kind.record(), &mut found);
    }
    found
}

#[test]
fn every_key_has_a_description_and_an_example() {
    let records = all_records();
    assert!(records.len() > 60, "{}", records.len());
    for record in records.values() {
        assert!(record.describes.len() > 3, "{}", record.name);
        for key in record.all_keys() {
            assert!(
                key.describes.ends_with('.') && key.describes.len() > 3,
                "{}.{}",
                record.name,
                key.name
            );
            assert!(!key.example.is_empty(), "{}.{}", record.name, key.name);
        }
    }
}

#[test]
fn no_key_stands_twice_in_a_record() {
    for record in all_records().values() {
        let names: Vec<&str> = record.all_keys().map(|k| k.name).collect();
        let mut unique = names.clone();
        unique.sort_unstable();
        unique.dedup();
        assert_eq!(unique.len(), names.len(), "{}", record.name);
    }
}

fn accepted(name: &str, text: &str) {
    if let Err(problems) = pilotage_plan::read(name, text) {
        panic!("{}", render_all(&problems, &|_| Some(text), Form::Plain));
    }
}

/// A file made of nothing but the table's examples is read: what a mend proposes is right.
#[test]
fn files_made_of_the_examples_are_read() {
    for kind in FileKind::ALL {
        for required_only in [true, false] {
            // A bench has instruments with points, or else meters that a person reads.
            let chosen = |name: &str| kind == FileKind::Bench && ["instruments", "points"].contains(&name);
            let keys = kind.record().all_keys().filter(|k| k.name != "hand_held");
            let keys = keys.filter(|k| k.required || !required_only || chosen(k.name));
            let lines: Vec<String> = keys.map(|k| format!("{}: {}\n", k.name, k.example)).collect();
            let text = lines.concat();
            accepted(kind.word(), &text);
        }
    }
}

/// The same for every act, one by one.
#[test]
fn the_example_of_every_act_is_read() {
    let records = all_records();
    for key in records["act"].all_keys() {
        let text = format!(
            "pilotage: sequence/1\ntitle: T\nitem: wall_unit\nlimits: s\nsteps:\n  - step: one\n    id: WU-01\n    do:\n      - {}: {}\n",
            key.name, key.example
        );
        accepted(key.name, &text);
    }
}

#[test]
fn the_nameplate_can_be_asked() {
    use pilotage_core::Dimension;
    assert_eq!(nameplate_dimension("rated_current"), Some(Dimension::CURRENT));
    assert_eq!(nameplate_dimension("cable"), None);
    assert_eq!(nameplate_words("cable"), ["tethered", "socket"]);
    assert!(nameplate_words("rated_current").is_empty());
    assert_eq!(nameplate_names().next(), Some("rated_current"));
}
