//! `schema`: draft-07 for every kind, and every shipped file validates against the one of its kind.

use crate::support::{Place, repository, yaml_below};
use serde_json::Value;
use std::collections::BTreeMap;

const KINDS: [&str; 9] = [
    "sequence", "chapter", "limits", "item", "bench", "driver", "frames", "defect", "sides",
];

fn schema(kind: &str) -> Value {
    Place::new().run(&["schema", kind]).exits(0).json()
}

/// As an editor for YAML 1.2 reads it: `on` is a word.
fn yaml(text: &str) -> Value {
    let options = serde_saphyr::options! { strict_booleans: true };
    serde_saphyr::from_str_with_options(text, options).unwrap()
}

#[test]
fn every_kind_has_a_draft_07_schema() {
    for kind in KINDS {
        let schema = schema(kind);
        assert_eq!(schema["$schema"], "http://json-schema.org/draft-07/schema#", "{kind}");
        jsonschema::draft7::meta::validate(&schema).unwrap_or_else(|error| panic!("{kind}: {error}"));
    }
}

#[test]
fn every_shipped_file_validates() {
    let validators: BTreeMap<&str, jsonschema::Validator> = KINDS
        .into_iter()
        .map(|kind| (kind, jsonschema::draft7::new(&schema(kind)).unwrap()))
        .collect();
    let mut seen = BTreeMap::new();
    let folders = ["sequences", "drivers/files", "tests/scenarios"];
    for path in folders.into_iter().flat_map(yaml_below) {
        let file = yaml(&std::fs::read_to_string(&path).unwrap());
        let kind = file["pilotage"].as_str().unwrap().trim_end_matches("/1").to_owned();
        let complaints: Vec<String> = validators[kind.as_str()]
            .iter_errors(&file)
            .map(|error| format!("{}: {error}", error.instance_path()))
            .collect();
        assert!(complaints.is_empty(), "{}: {complaints:#?}", path.display());
        *seen.entry(kind).or_insert(0) += 1;
    }
    assert_eq!(
        seen.keys().map(String::as_str).collect::<Vec<_>>().len(),
        KINDS.len(),
        "{seen:?}"
    );
}

#[test]
fn wrong_files_do_not_validate() {
    for (name, kind) in [("P030_unknown_key", "sequence"), ("P031_missing_key", "item")] {
        let file = yaml(&std::fs::read_to_string(repository(&format!("tests/bad-files/{name}.yaml"))).unwrap());
        let kind = file["pilotage"]
            .as_str()
            .map_or(kind, |word| word.trim_end_matches("/1"));
        assert!(
            !jsonschema::draft7::new(&schema(kind)).unwrap().is_valid(&file),
            "{name}"
        );
    }
}

#[test]
fn an_unknown_kind_is_answered_by_the_near_one() {
    Place::new()
        .run(&["schema", "sequense"])
        .refused(&["did you mean `sequence`"]);
}
