//! `verify`, `judge` and `report`: what a record alone can tell, and what somebody did to it.

use crate::support::{Place, copied, files, healthy};
use std::path::Path;

fn flip(path: &Path, at: usize) {
    let mut bytes = std::fs::read(path).unwrap();
    bytes[at] ^= 1;
    std::fs::write(path, bytes).unwrap();
}

#[test]
fn a_sealed_record_verifies_and_comes_out_the_same_when_judged_again() {
    let (place, _) = copied();
    let ran = place.run(&["verify", "record"]).exits(0);
    assert!(
        ran.out.contains("unaltered") && ran.out.contains("sealed") && ran.err.is_empty(),
        "{ran:?}"
    );
    let json = place.run(&["verify", "record", "--json"]).exits(0).json();
    assert_eq!((&json["altered"], &json["sealed"]), (&false.into(), &true.into()));
    let ran = place.run(&["judge", "record"]).exits(0);
    assert!(ran.out.contains("0 differ"), "{}", ran.out);
    let json = place.run(&["judge", "record", "--json"]).exits(0).json();
    assert!(
        json["judged"].as_u64() > Some(20) && json["differences"].as_array().unwrap().is_empty(),
        "{json:#}"
    );
}

#[test]
fn any_flipped_byte_of_the_sealed_part_is_found_and_its_file_named() {
    let sealed = files(healthy())
        .into_iter()
        .filter(|(path, bytes)| !path.starts_with("reports") && !bytes.is_empty());
    let mut tried = 0;
    for (path, bytes) in sealed {
        for at in [0, bytes.len() / 2, bytes.len() - 1] {
            let (place, record) = copied();
            flip(&record.join(&path), at);
            let ran = place.run(&["verify", "record"]);
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            // A seal or a first line that cannot be read any more may make the folder no record at all.
            assert!(
                ran.code == 1 || (ran.code == 2 && ran.err.contains("journal.txt")),
                "{name} at {at}: {ran:#?}"
            );
            assert!(ran.out.contains("ALTERED") || ran.code == 2, "{name} at {at}: {ran:#?}");
            assert!(
                ran.out.contains(&name) || ran.err.contains(&name),
                "{name} at {at}: {ran:#?}"
            );
            tried += 1;
        }
        if tried > 45 {
            break;
        }
    }
    assert!(tried > 20);
}

#[test]
fn added_removed_and_unsealed() {
    let (place, record) = copied();
    std::fs::write(record.join("captures/more.i16"), b"x").unwrap();
    place.run(&["verify", "record"]).exits(1);
    let (place, record) = copied();
    let capture = std::fs::read_dir(record.join("captures"))
        .unwrap()
        .next()
        .unwrap()
        .unwrap()
        .path();
    std::fs::remove_file(capture).unwrap();
    place.run(&["verify", "record"]).exits(1);
    let (place, record) = copied();
    std::fs::remove_file(record.join("seal.json")).unwrap();
    let ran = place.run(&["verify", "record"]).exits(3);
    assert!(ran.out.contains("never sealed"), "{}", ran.out);
    assert_eq!(
        place.run(&["verify", "record", "--json"]).exits(3).json()["sealed"],
        false
    );
}

#[test]
fn a_report_of_an_altered_record_says_so_before_anything_else() {
    let (place, record) = copied();
    let journal = record.join("journal.txt");
    let text = std::fs::read_to_string(&journal).unwrap();
    let turned = text.replacen("\"verdict\":\"pass\"", "\"verdict\":\"fail\"", 1);
    assert_ne!(text, turned);
    std::fs::write(&journal, turned).unwrap();
    place.run(&["verify", "record"]).exits(1);
    let ran = place.run(&["report", "record", "--no-pdf", "--out", "again"]).exits(1);
    assert!(ran.err.contains("!!!") && ran.err.contains("does not hold"), "{ran:?}");
    // What stands behind a broken line is not judged, and that is no "unchanged".
    let ran = place.run(&["judge", "record"]).exits(1);
    assert!(ran.err.contains("ALTERED"), "{ran:?}");
}

#[test]
fn reports_are_made_again_to_the_byte() {
    let (place, record) = copied();
    let ran = place
        .run(&["report", "record", "--no-pdf", "--json", "--out", "again"])
        .exits(0);
    assert_eq!(ran.json()["reports"].as_array().unwrap().len(), 3);
    assert!(files(&place.path().join("again")) == files(&record.join("reports")));
}

#[test]
fn what_is_no_record_is_refused() {
    let place = Place::new();
    std::fs::create_dir(place.path().join("empty")).unwrap();
    std::fs::create_dir(place.path().join("wrong")).unwrap();
    place.write("wrong/journal.txt", "not a journal\n");
    for verb in ["verify", "judge", "report"] {
        for folder in ["nowhere", "empty", "wrong"] {
            let ran = place.run(&[verb, folder]);
            assert!(
                ran.code == 2 || (folder == "wrong" && ran.code == 1),
                "{verb} {folder}: {ran:#?}"
            );
            assert!(ran.code == 1 || ran.err.contains("mend: "), "{verb} {folder}: {ran:#?}");
        }
    }
}
