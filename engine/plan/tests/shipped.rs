//! Every file that is shipped is read, and validates against its schema: an editor shows no error where the program sees none.

#![allow(clippy::unwrap_used)]

use pilotage_plan::render::{Form, render_all};
use pilotage_plan::schema::schema;
use pilotage_plan::{FileKind, read};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

fn yaml_files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            yaml_files(&path, found);
        } else if path.extension().is_some_and(|e| e == "yaml") {
            found.push(path);
        }
    }
}

fn shipped() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let mut found = Vec::new();
    yaml_files(&root.join("sequences"), &mut found);
    yaml_files(&root.join("drivers/files"), &mut found);
    found.sort();
    found
}

#[test]
fn every_shipped_file_is_read_and_validates() {
    let validators: BTreeMap<FileKind, jsonschema::Validator> = FileKind::ALL
        .into_iter()
        .map(|kind| (kind, jsonschema::draft7::new(&schema(kind)).unwrap()))
        .collect();
    let mut counts: BTreeMap<FileKind, usize> = BTreeMap::new();
    for path in shipped() {
        let (name, text) = (path.display().to_string(), std::fs::read_to_string(&path).unwrap());
        let file =
            read(&name, &text).unwrap_or_else(|p| panic!("{}", render_all(&p, &|_| Some(text.as_str()), Form::Plain)));
        let options = serde_saphyr::options! { strict_booleans: true };
        let value: serde_json::Value = serde_saphyr::from_str_with_options(&text, options).unwrap();
        let complaints: Vec<String> = validators[&file.kind()]
            .iter_errors(&value)
            .map(|e| format!("{name}{}: {e}", e.instance_path()))
            .collect();
        assert!(complaints.is_empty(), "{complaints:#?}");
        *counts.entry(file.kind()).or_default() += 1;
    }
    for kind in FileKind::ALL {
        assert!(counts.contains_key(&kind), "no {} is shipped", kind.word());
    }
}
