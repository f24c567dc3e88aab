//! Chapters: what is wrong in one is said with its file and line, the record keeps them, and who changes a shipped one gets the own.

use crate::support::{Place, repository};
use serde_json::Value;

const SEQUENCE: &str = "wall_unit/quick_check";
const CHAPTER: &str = "sequences/chapters/wall_unit_meters.yaml";

/// A place with a folder `mine` that holds the shipped chapter, changed.
fn with_changed_chapter(folder: &str, from: &str, to: &str) -> Place {
    let place = Place::new();
    let text = std::fs::read_to_string(repository(CHAPTER)).unwrap();
    assert!(text.contains(from), "{from}");
    std::fs::create_dir_all(place.path().join(folder)).unwrap();
    place.write(&format!("{folder}/wall_unit_meters.yaml"), text.replacen(from, to, 1));
    place
}

/// The line of the shipped chapter in which this stands, from 1.
fn line_of(part: &str) -> usize {
    let text = std::fs::read_to_string(repository(CHAPTER)).unwrap();
    1 + text.lines().position(|line| line.contains(part)).unwrap()
}

#[test]
fn what_is_wrong_in_a_chapter_is_shown_with_its_own_file_and_line() {
    // The first is found when the chapter is read, the second when the whole is fitted.
    for (from, to, code) in [
        ("hold: 2 s", "hold: 2 V", "error[P051]"),
        ("[bench.zero_ac]", "[bench.zero_of_nothing]", "error[F010]"),
    ] {
        let place = with_changed_chapter("mine/chapters", from, to);
        let place_of = format!("mine/chapters/wall_unit_meters.yaml:{}:", line_of(from));
        let short = place.run(&["check", "--short", SEQUENCE, "--files", "mine"]).exits(2);
        assert_eq!(short.out.lines().count(), 1, "{short:?}");
        assert!(
            short.out.starts_with(&place_of) && short.out.contains(code),
            "{short:?}"
        );
        let full = place
            .run(&["rehearse", SEQUENCE, "--files", "mine", "--no-pdf"])
            .exits(2);
        assert!(full.err.contains(&place_of) && full.err.contains(to), "{full:?}");
    }
}

#[test]
fn a_chapter_is_checked_alone() {
    let place = with_changed_chapter("mine", "hold: 2 s", "hold: 2 V");
    let ran = place.run(&["check", "wall_unit_meters"]).exits(0);
    assert!(
        ran.out.contains("wall_unit_meters.yaml: chapter, nothing wrong"),
        "{ran:?}"
    );
    let ran = place.run(&["check", "--short", "mine/wall_unit_meters.yaml"]).exits(2);
    assert!(ran.out.contains("error[P051]"), "{ran:?}");
    let chapter = repository(CHAPTER);
    let ran = place.run(&["rehearse", chapter.to_str().unwrap()]).exits(2);
    assert!(
        ran.err.contains("error[P023]") && ran.err.contains("sequence/1"),
        "{ran:?}"
    );
}

#[test]
fn a_name_that_is_nearly_a_chapter_is_guessed() {
    let place = Place::new();
    let text = std::fs::read_to_string(repository("sequences/wall_unit/quick_check.yaml")).unwrap();
    place.write(
        "slip.yaml",
        text.replace("chapter: wall_unit_meters\n", "chapter: wall_unit_metres\n"),
    );
    let ran = place.run(&["check", "--short", "slip.yaml"]).exits(2);
    assert!(
        ran.out.contains("error[F048]") && ran.out.contains("wall_unit_meters"),
        "{ran:?}"
    );
}

fn heading(place: &Place, record: &str) -> Value {
    let journal = std::fs::read_to_string(place.path().join(record).join("journal.txt")).unwrap();
    let first = journal.lines().next().unwrap();
    let (_, json) = first.split_once(' ').unwrap();
    serde_json::from_str(json).unwrap()
}

/// A copied sequence takes the chapter beside it, and the shipped ones for the rest. Nothing shipped is needed to judge again.
#[test]
fn a_changed_copy_is_taken_and_kept_in_the_record() {
    for folder in [".", "chapters"] {
        let place = with_changed_chapter(folder, "step: the meter on nothing", "step: my own look at the meter");
        let shipped = repository("sequences/wall_unit/quick_check.yaml");
        place.write("copy.yaml", std::fs::read(shipped).unwrap());
        place.run(&["rehearse", "copy.yaml", "--no-pdf", "--out", "r"]).exits(0);
        let heading = heading(&place, "r").to_string();
        assert!(heading.contains("my own look at the meter"), "{folder}");
        let kept = std::fs::read_dir(place.path().join("r/inputs")).unwrap();
        let mut kept: Vec<String> = kept
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        kept.sort();
        let chapters: Vec<&String> = kept.iter().filter(|name| name.contains("-chapter-")).collect();
        assert_eq!(chapters.len(), 3, "{kept:?}");
        let bytes = std::fs::read_to_string(place.path().join("r/inputs").join(chapters[0])).unwrap();
        assert!(bytes.contains("my own look at the meter"), "{chapters:?}");
        place.run(&["verify", "r"]).exits(0);
        assert!(place.run(&["judge", "r"]).exits(0).out.contains("0 differ"));
        let altered = bytes.replace("my own look", "another look");
        std::fs::write(place.path().join("r/inputs").join(chapters[0]), altered).unwrap();
        let ran = place.run(&["verify", "r"]).exits(1);
        assert!(ran.out.contains(chapters[0].as_str()), "{ran:?}");
    }
}

#[test]
fn verbs_that_only_look_at_the_steps_see_those_of_chapters() {
    let place = Place::new();
    let out = place.run(&["explain", "bench.capture_of_mains"]).exits(0).out;
    assert!(out.contains("wall_unit/quick_check BC-05"), "{out}");
    assert!(!out.contains("chapters/"), "{out}");
    place.write(
        "chapter_only.yaml",
        "pilotage: sequence/1\ntitle: T\nitem: wall_unit\nlimits: iec_61851_1_2017\nsteps:\n  - chapter: levels\n",
    );
    place.write(
        "levels.yaml",
        "pilotage: chapter/1\ntitle: T\nitem: wall_unit\nsteps:\n  - step: level\n    id: WU-12\n    do:\n      - hold: 1 s\n",
    );
    let json = place.run(&["defects", "chapter_only.yaml", "--json"]).exits(0).json();
    let claimed: Vec<&str> = json["defects"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| row["claimed_step"].as_str().unwrap())
        .collect();
    assert!(
        !claimed.is_empty() && claimed.iter().all(|step| *step == "WU-12"),
        "{json:#}"
    );
}
