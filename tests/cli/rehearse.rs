//! `rehearse`: exit codes, bytes that depend on nothing but files and seed, and what is printed where.

use crate::support::{Place, copied, files, healthy, repository, snapshot};

fn rehearse(place: &Place, more: &[&str]) -> crate::support::Ran {
    place.run(&[&["rehearse", "wall_unit/quick_check"], more].concat())
}

#[test]
fn a_healthy_unit_passes_and_everything_lies_in_the_folder() {
    let names: Vec<String> = files(healthy())
        .iter()
        .map(|(path, _)| path.display().to_string())
        .collect();
    for name in [
        "journal.txt",
        "seal.json",
        "reports/manifest.json",
        "reports/quick_check-seed1.csv",
    ] {
        assert!(names.iter().any(|known| known == name), "{name} is not among {names:?}");
    }
    assert!(
        names.iter().any(|name| name == "reports/TEST-quick_check-seed1.xml"),
        "{names:?}"
    );
    assert!(names.iter().any(|name| name.starts_with("inputs/")), "{names:?}");
    assert!(names.iter().any(|name| name.starts_with("captures/")), "{names:?}");
}

#[test]
fn what_a_person_sees() {
    let place = Place::new();
    let ran = rehearse(&place, &["--no-pdf", "--out", "r"]).exits(0);
    assert!(ran.out.contains("virtual bench, no item was tested"));
    snapshot(
        "rehearse_pass",
        &format!("{}\n--- standard error\n{}", ran.out, ran.err),
    );
}

#[test]
fn a_defect_fails_at_the_step_that_claims_it_and_a_side_is_named() {
    let place = Place::new();
    let ran = rehearse(&place, &["--no-pdf", "--out", "r", "--defect", "w03", "--json"]).exits(1);
    let json = ran.json();
    assert_eq!(
        (&json["verdict"], &json["exit_code"], &json["side"]["side"]),
        (&"fail".into(), &1.into(), &"wall_unit".into())
    );
    let failed: Vec<&str> = json["steps"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|step| step["verdict"] == "fail")
        .map(|step| step["id"].as_str().unwrap())
        .collect();
    assert!(failed.contains(&"WU-14"), "{failed:?}");
    assert!(ran.err.contains("FAIL") && ran.err.contains("look next"), "{}", ran.err);
}

#[test]
fn a_unit_that_waits_is_inconclusive_and_nothing_of_it_is_green() {
    let place = Place::new();
    let json = rehearse(&place, &["--no-pdf", "--out", "r", "--defect", "S01", "--json"])
        .exits(3)
        .json();
    assert_eq!(
        (&json["verdict"], &json["side"]["side"]),
        (&"inconclusive".into(), &"settings".into())
    );
    let junit = std::fs::read_to_string(place.path().join("r/reports/TEST-quick_check-S01-plain-seed1.xml")).unwrap();
    assert!(junit.contains("<error"), "{junit}");
}

#[test]
fn a_unit_that_opens_while_it_is_loaded_fails_and_the_load_is_not_blamed() {
    let place = Place::new();
    let item = std::fs::read_to_string(repository("sequences/items/wall_unit_32a.yaml")).unwrap();
    // Set to less than its plate says, it watches over what it signals, and opens 5 s after 32 A are drawn.
    let set_lower = "virtual: {rated_set: 26 A}";
    place.write("item.yaml", item.replace("virtual: {}", set_lower));
    rehearse(&place, &["--no-pdf", "--item", "item.yaml", "--out", "r"]).exits(1);
    let csv = std::fs::read_to_string(place.path().join("r/reports/quick_check-seed1.csv")).unwrap();
    let verdict = |reading: &str| {
        let row = csv
            .lines()
            .find(|line| line.contains("WU-40") && line.contains(&format!(",{reading},")));
        row.map(|row| if row.contains(",fail,") { "fail" } else { "other" })
    };
    assert_eq!(verdict("u_loaded"), Some("fail"));
    assert_eq!(
        verdict("i_load"),
        None,
        "without an output nothing is drawn, and that is not judged"
    );
}

#[test]
fn two_rehearsals_with_one_seed_are_the_same_to_the_byte() {
    let (first, second) = (Place::new(), Place::new());
    std::thread::scope(|scope| {
        scope.spawn(|| rehearse(&first, &["--out", "one"]).exits(0));
        scope.spawn(|| rehearse(&second, &["--out", "other"]).exits(0));
    });
    let (one, other) = (files(&first.path().join("one")), files(&second.path().join("other")));
    assert_eq!(one.len(), other.len());
    for ((name, bytes), (other_name, other_bytes)) in one.iter().zip(&other) {
        assert_eq!(name, other_name);
        assert!(bytes == other_bytes, "{} differs", name.display());
    }
    assert!(
        one.iter()
            .any(|(name, bytes)| name.ends_with("quick_check-seed1.pdf") && bytes.starts_with(b"%PDF-"))
    );
    // The reports of the record, made again elsewhere, are the same too: PDF included.
    first.run(&["report", "one", "--out", "again"]).exits(0);
    assert!(
        files(&first.path().join("again")) == files(&first.path().join("one/reports")),
        "the reports differ"
    );
}

#[test]
fn another_seed_brings_other_readings() {
    let place = Place::new();
    rehearse(&place, &["--no-pdf", "--out", "r", "--seed", "2"]).exits(0);
    let journal = |folder: &std::path::Path| std::fs::read(folder.join("journal.txt")).unwrap();
    assert_ne!(journal(&place.path().join("r")), journal(healthy()));
}

#[test]
fn a_folder_with_an_old_record_is_refused_and_not_touched() {
    let (place, record) = copied();
    let before = files(&record);
    rehearse(&place, &["--no-pdf", "--out", "record"]).refused(&["record already", "never rewritten", "new folder"]);
    assert!(files(&record) == before);
    place.write("file", "x");
    rehearse(&place, &["--no-pdf", "--out", "file"]).refused(&["not a folder"]);
}

#[test]
fn the_default_folder_is_made_anew_but_only_where_it_is_a_record() {
    let place = Place::new();
    let folder = place.path().join("out/wall_unit/quick_check-seed1");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("notes.txt"), "mine").unwrap();
    rehearse(&place, &["--no-pdf"]).refused(&["holds other files", "--out"]);
    assert_eq!(std::fs::read(folder.join("notes.txt")).unwrap(), b"mine");
    std::fs::remove_file(folder.join("notes.txt")).unwrap();
    for _ in 0..2 {
        rehearse(&place, &["--no-pdf"]).exits(0);
    }
    place.run(&["verify", "out/wall_unit/quick_check-seed1"]).exits(0);
}

/// Sequences of two kinds of item may bear one name; a record is kept for each.
#[test]
fn a_rehearsal_does_not_replace_that_of_another_kind_of_item() {
    let place = Place::new();
    for sequence in ["inlet/by_hand", "cable/by_hand"] {
        place.run(&["rehearse", sequence, "--no-pdf"]).exits(0);
    }
    for record in ["out/inlet/by_hand-seed1", "out/cable_assembly/by_hand-seed1"] {
        place.run(&["verify", record]).exits(0);
    }
}

/// The bench lacks one point, and with it much of the sequence: a pass of the rest says so first.
#[test]
fn steps_that_the_bench_leaves_out_are_said_first() {
    let place = Place::new();
    let bench = std::fs::read_to_string(repository("sequences/benches/small_workshop.yaml")).unwrap();
    let without: String = bench
        .split_inclusive('\n')
        .filter(|line| !line.trim_start().starts_with("proximity.voltage:"))
        .collect();
    assert_ne!(without, bench);
    place.write("bench.yaml", without);
    let sequence = "onboard_charger/no_high_voltage";
    let ran = place
        .run(&[
            "rehearse",
            sequence,
            "--bench",
            "bench.yaml",
            "--no-pdf",
            "--out",
            "record",
        ])
        .exits(0);
    assert!(
        ran.err.contains("steps are NOT TESTED") && ran.err.contains("OB-11"),
        "{ran:#?}"
    );
    let reports = place.path().join("record/reports");
    let junit = std::fs::read_to_string(reports.join("TEST-no_high_voltage-seed1.xml")).unwrap();
    assert!(
        junit.contains("<skipped") && junit.contains("steps are NOT TESTED"),
        "{junit}"
    );
}

#[test]
fn a_folder_of_files_that_is_not_there_is_refused() {
    rehearse(&Place::new(), &["--files", "nowhere"]).refused(&["nowhere", "no folder"]);
}

#[test]
fn a_run_that_cannot_begin_leaves_no_record_behind() {
    let place = Place::new();
    let item = std::fs::read_to_string(repository("sequences/items/wall_unit_32a.yaml")).unwrap();
    place.write("item.yaml", item.replace("virtual: {}", "virtual: {v_negg: -10 V}"));
    rehearse(&place, &["--no-pdf", "--item", "item.yaml", "--out", "r"]).refused(&["v_negg", "v_neg"]);
    assert!(!place.path().join("r").exists());
}

#[test]
fn unknown_names_say_what_may_be_meant() {
    let place = Place::new();
    place
        .run(&["rehearse", "wall_unit/quick_chek"])
        .refused(&["did you mean `wall_unit/quick_check`"]);
    rehearse(&place, &["--item", "wall_unit_32"]).refused(&["did you mean `wall_unit_32a`"]);
    rehearse(&place, &["--bench", "mid_bensh"]).refused(&["did you mean `mid_bench`"]);
    rehearse(&place, &["--limits", "iec_61851"]).refused(&["iec_61851_1_2017"]);
    rehearse(&place, &["--defect", "W99"]).refused(&["W99"]);
    rehearse(&place, &["--defect", "W17", "--severity", "edge"]).refused(&["severity"]);
}

#[test]
fn neither_a_pipe_nor_no_color_gets_colours() {
    let place = Place::new();
    for variables in [vec![], vec![("NO_COLOR", "1")], vec![("TERM", "dumb")]] {
        let ran = place.run_with(
            &["check", "--bench", "nowhere", "wall_unit/quick_check"],
            &variables,
            "",
        );
        assert!(!ran.out.contains('\u{1b}') && !ran.err.contains('\u{1b}'), "{ran:?}");
    }
    let ran = rehearse(&place, &["--no-pdf", "--out", "r", "--defect", "W03"]);
    assert!(!ran.out.contains('\u{1b}') && !ran.err.contains('\u{1b}'), "{ran:?}");
    assert!(!ran.err.contains('\r'), "a pipe gets plain lines");
    // Colours that are asked for come, and NO_COLOR wins over a terminal that could.
    let forced = place.run_with(&["rehearse", "nothing"], &[("CLICOLOR_FORCE", "1")], "");
    assert!(forced.err.contains('\u{1b}'), "{forced:?}");
}

#[test]
fn hostile_text_of_files_never_reaches_the_terminal() {
    let place = Place::new();
    // YAML's own escapes write what the file's bytes do not hold.
    let bell = r#""\e]0;owned\a\e[31mred\u202e""#;
    let sequence = std::fs::read_to_string(repository("sequences/wall_unit/quick_check.yaml")).unwrap();
    let sequence = sequence
        .replace("title: Wall unit quick check", &format!("title: {bell}"))
        .replace("step: pilot level in state A", &format!("step: {bell}"))
        .replace(
            "means: \"supply rail of the pilot, or its oscillator runs in state A\"",
            &format!("means: {bell}"),
        );
    let item = std::fs::read_to_string(repository("sequences/items/wall_unit_32a.yaml")).unwrap();
    place.write("hostile.yaml", sequence);
    place.write(
        "item.yaml",
        item.replace("serial: WU-DEMO-0032", &format!("serial: {bell}")),
    );
    let arguments = [
        "rehearse",
        "hostile.yaml",
        "--item",
        "item.yaml",
        "--no-pdf",
        "--out",
        "r",
        "--defect",
        "W01",
    ];
    let forced = [("CLICOLOR_FORCE", "1")];
    let mut all = vec![place.run_with(&arguments, &forced, "")];
    for verb in ["judge", "verify", "report"] {
        let more: &[&str] = if verb == "report" { &["--no-pdf"] } else { &[] };
        all.push(place.run_with(&[&[verb, "r"], more].concat(), &forced, ""));
    }
    all.push(place.run_with(&["check", "hostile.yaml", "--item", "item.yaml"], &forced, ""));
    for ran in all {
        for text in [&ran.out, &ran.err] {
            let own = text.replace("\u{1b}[", "");
            assert!(!own.contains(['\u{1b}', '\u{7}', '\u{202e}']), "{text:?}");
            assert!(!text.contains("\u{1b}[31mred"), "{text:?}");
        }
    }
}

#[test]
fn a_sequence_of_every_form_of_act_passes() {
    let path = repository("tests/scenarios/every_act.yaml");
    let text = std::fs::read_to_string(&path).unwrap();
    let forms = [
        "set:",
        "read:",
        "capture:",
        "while:",
        "find:",
        "sweep:",
        "ramp:",
        "wait_for:",
        "must_not:",
        "hold:",
        "settle:",
        "ask:",
        "answer: yes_no",
        "answer: {word:",
        "answer: {quantity:",
        "isolate:",
        "prove_dead:",
        "judge:",
        "when:",
        "repeat:",
        "for_each:",
        "only_if:",
        "needs:",
        "pulse:",
        "level:",
        "count:",
        "swept:",
        "from:",
        "and_back:",
    ];
    for form in forms {
        assert!(text.contains(form), "{form} does not occur");
    }
    let place = Place::new();
    let path = path.to_str().unwrap();
    let ran = place
        .run(&["rehearse", path, "--no-pdf", "--json", "--out", "r"])
        .exits(0);
    let json = ran.json();
    assert!(
        json["steps"]
            .as_array()
            .unwrap()
            .iter()
            .all(|step| step["verdict"] == "pass"),
        "{json:#}"
    );
    place.run(&["verify", "r"]).exits(0);
    place.run(&["judge", "r"]).exits(0);
}

/// The bench is not used on the day after its calibration ran out: an error of the bench, and nothing is energised.
#[test]
fn a_calibration_that_has_run_out_is_the_benchs_error() {
    let place = Place::new();
    let shipped = std::fs::read_to_string(repository("sequences/benches/mid_bench.yaml")).unwrap();
    let until = shipped
        .find("calibrated_until: ")
        .expect("the shipped bench states calibrations")
        + "calibrated_until: ".len();
    let bench = place.write(
        "old.yaml",
        format!("{}2025-12-31{}", &shipped[..until], &shipped[until + 10..]),
    );
    let ran = rehearse(&place, &["--no-pdf", "--out", "r", "--bench", &bench]).exits(5);
    assert!(ran.err.contains("calibration has run out"), "{}", ran.err);
    let journal = std::fs::read_to_string(place.path().join("r/journal.txt")).unwrap();
    assert!(!journal.contains(r#""event":"intent""#), "something was energised");
}

/// Ctrl-C is a way out of a rehearsal too: made dead, sealed, exit 4.
#[test]
fn an_interrupt_ends_a_rehearsal_made_dead_and_sealed() {
    use std::io::BufRead;
    let place = Place::new();
    let mut child = std::process::Command::new(crate::support::binary())
        .args([
            "rehearse",
            "wall_unit/acceptance_single_phase",
            "--no-pdf",
            "--out",
            "r",
        ])
        .current_dir(place.path())
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = std::io::BufReader::new(child.stderr.take().unwrap()).lines();
    lines
        .find(|line| line.as_ref().is_ok_and(|line| line.contains("BC-11")))
        .unwrap()
        .unwrap();
    let id = child.id().to_string();
    assert!(
        std::process::Command::new("kill")
            .args(["-INT", &id])
            .status()
            .unwrap()
            .success()
    );
    let rest: Vec<String> = lines.map_while(Result::ok).collect();
    assert_eq!(child.wait().unwrap().code(), Some(4), "{}", rest.join("\n"));
    assert!(place.path().join("r/seal.json").exists());
    place.run(&["verify", "r"]).exits(0);
}
