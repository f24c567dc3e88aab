//! The JSON Schemas: valid draft-07, good files validate, bad ones do not, and every key is described.

#![allow(clippy::unwrap_used)]

use pilotage_plan::FileKind;
use pilotage_plan::schema::schema;
use serde_json::{Value, json};

fn good(kind: FileKind) -> Value {
    let path = format!("{}/tests/good/{}.yaml", env!("CARGO_MANIFEST_DIR"), kind.word());
    // As an editor for YAML 1.2 reads it: `on` is a word.
    let options = serde_saphyr::options! { strict_booleans: true };
    serde_saphyr::from_str_with_options(&std::fs::read_to_string(path).unwrap(), options).unwrap()
}

fn complaints(kind: FileKind, file: &Value) -> Vec<String> {
    let validator = jsonschema::draft7::new(&schema(kind)).unwrap();
    validator
        .iter_errors(file)
        .map(|e| format!("{}: {e}", e.instance_path()))
        .collect()
}

#[test]
fn every_schema_is_valid_draft_07() {
    for kind in FileKind::ALL {
        let schema = schema(kind);
        assert_eq!(schema["$schema"], "http://json-schema.org/draft-07/schema#");
        jsonschema::draft7::meta::validate(&schema).unwrap_or_else(|e| panic!("{}: {e}", kind.word()));
        assert!(
            !schema.to_string().contains("null"),
            "{}: a definition was left open",
            kind.word()
        );
    }
}

#[test]
fn good_files_validate() {
    for kind in FileKind::ALL {
        let complaints = complaints(kind, &good(kind));
        assert!(complaints.is_empty(), "{}: {complaints:#?}", kind.word());
    }
}

#[test]
fn a_file_of_another_kind_does_not_validate() {
    for kind in FileKind::ALL {
        for other in FileKind::ALL.into_iter().filter(|o| *o != kind) {
            assert!(
                !complaints(kind, &good(other)).is_empty(),
                "{} passes as {}",
                other.word(),
                kind.word()
            );
        }
    }
}

/// A good file with one value replaced (or put in) does not validate.
#[track_caller]
fn spoilt(kind: FileKind, pointer: &str, value: Value) {
    let mut file = good(kind);
    let (parent, last) = pointer.rsplit_once('/').unwrap();
    match file.pointer_mut(parent).unwrap() {
        Value::Object(map) => {
            map.insert(last.to_owned(), value);
        }
        Value::Array(list) => list[last.parse::<usize>().unwrap()] = value,
        other => panic!("{other}"),
    }
    assert!(!complaints(kind, &file).is_empty(), "{pointer} is not noticed");
}

#[test]
fn spoilt_files_do_not_validate() {
    use FileKind::{Bench, Chapter, Defect, Driver, Item, Limits, Sequence, Sides};
    spoilt(Sequence, "/tittle", json!("T"));
    spoilt(Sequence, "/item", json!("wallbox"));
    spoilt(Sequence, "/steps", json!([]));
    spoilt(Sequence, "/steps/0/id", json!("nineteen"));
    spoilt(Sequence, "/steps/2", json!({"chapter": "Pilot levels"}));
    spoilt(Sequence, "/steps/2", json!({"chapter": "pilot_levels", "id": "WU-12"}));
    spoilt(Chapter, "/steps/0", json!({"chapter": "pilot_levels"}));
    spoilt(Chapter, "/limits", json!("iec_61851_1_2017"));
    spoilt(Sequence, "/steps/1/do/0", json!({"hold": "1 s", "isolate": {}}));
    spoilt(Sequence, "/steps/1/do/0", json!({"wait": "1 s"}));
    spoilt(
        Sequence,
        "/steps/1/do/0",
        json!({"find": {"x": {"pulse": "pilot", "take": "top"}}}),
    );
    spoilt(
        Sequence,
        "/steps/1/do/0",
        json!({"ramp": {"set": {"load.current": {"from": "0 A", "to": "1 A"}}, "over": "1 s", "steps": 0}}),
    );
    spoilt(
        Sequence,
        "/steps/1/do/0",
        json!({"must_not": {"pilot.low": {"at_most": "1 V"}, "for": "1 s", "every": "1 ms"}}),
    );
    spoilt(
        Sequence,
        "/steps/1/do/0",
        json!({"must_not": {"for": "1 s", "every": "1 ms", "status": "common practice"}}),
    );
    spoilt(Sequence, "/steps/1/do/0", json!({"judge": {"x": {"at_most": "1 V"}}}));
    spoilt(
        Sequence,
        "/steps/1/do/0",
        json!({"judge": {"x": {"at_most": "1 V", "at_least": "0 V", "status": "common practice"}}}),
    );
    spoilt(
        Sequence,
        "/steps/1/do/0",
        json!({"capture": {"of": ["pilot"], "for": "1 s", "while": [{"hold": ["x"]}]}}),
    );
    spoilt(Limits, "/limits/terminal.rise/status", json!("known"));
    spoilt(Limits, "/limits/terminal.rise/status", json!("restated"));
    spoilt(Limits, "/limits/terminal.rise/at_least", json!("1 K"));
    spoilt(
        Limits,
        "/limits/Terminal Rise",
        json!({"title": "T", "unit": "K", "at_most": "1 K", "status": "common practice"}),
    );
    spoilt(Item, "/nameplate/cable", json!("long"));
    spoilt(Item, "/nameplate/colour", json!("red"));
    spoilt(Bench, "/instruments/meter/link", json!({"tcp": "nowhere"}));
    spoilt(Bench, "/instruments/meter/calibrated_until", json!("soon"));
    spoilt(Bench, "/points/pilot_load/connected", json!("somehow"));
    spoilt(
        Driver,
        "/functions/enclosure/measure",
        json!({"unit": "V", "ask": "V?"}),
    );
    spoilt(Driver, "/functions/waveform/capture/most_points", json!(0));
    spoilt(Defect, "/severities", json!({}));
    spoilt(Defect, "/severities/mild", json!({"v_neg": "1 V"}));
    spoilt(Sides, "/rules/0/kind", json!("hunch"));
    spoilt(
        Sides,
        "/rules/0",
        json!({"id": "x", "side": "bench", "kind": "level", "says": "x", "cheapest_next": "y"}),
    );
}

fn described(at: &str, schema: &Value) {
    if let Some(properties) = schema["properties"].as_object() {
        for (name, property) in properties {
            // Conditions (`if`) name properties without describing them; those live under `allOf`.
            let text = property["description"].as_str().unwrap_or_default();
            assert!(text.len() > 3 && text.ends_with('.'), "{at}.{name}: {text:?}");
        }
    }
    for (pattern, value) in schema["patternProperties"].as_object().into_iter().flatten() {
        assert!(
            value["description"].as_str().is_some_and(|d| d.len() > 3),
            "{at}: {pattern}"
        );
    }
}

#[test]
fn every_key_is_described() {
    for kind in FileKind::ALL {
        let schema = schema(kind);
        described(kind.word(), &schema);
        assert!(schema["description"].as_str().is_some_and(|d| !d.is_empty()));
        for (name, definition) in schema["definitions"].as_object().unwrap() {
            described(name, definition);
            assert!(
                definition["description"].as_str().is_some_and(|d| !d.is_empty()),
                "{name}"
            );
        }
    }
}
