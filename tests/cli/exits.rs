//! Exit codes that no other file here meets, and the list of where each is met.
//!
//! | code | met in |
//! | --- | --- |
//! | 0 | `rehearse::a_sequence_of_every_form_of_act_passes`, `record`, `check` |
//! | 1 | `rehearse::a_defect_fails…`, `record::any_flipped_byte…`, here: `challenge` |
//! | 2 | `bad_files`, `help::wrong_usage…` |
//! | 3 | `rehearse::a_unit_that_waits…`, `record::added_removed_and_unsealed`, `answers` |
//! | 4 | here: a person who refuses; over TCP: Ctrl-C |
//! | 5 | here: a disk that cannot be written, no bench that answers |
//! | 6 | over TCP: a bench that goes away |

use crate::support::{Place, repository};

#[test]
fn challenge_says_1_for_what_nobody_notices_and_0_for_what_is_noticed() {
    let place = Place::new();
    let arguments = |defect: &'static str| {
        [
            "challenge",
            "wall_unit/quick_check",
            "--seeds",
            "1",
            "--healthy",
            "1",
            "--severities",
            "plain",
            "--json",
            "--defects",
            defect,
        ]
    };
    let ran = place.run(&arguments("W03")).exits(0);
    assert!(ran.json().is_object() && !ran.err.is_empty());
    let again = place
        .run(&[arguments("W03").as_slice(), &["--jobs", "1"]].concat())
        .exits(0);
    assert_eq!(ran.out, again.out, "the result depends on the number of threads");
    place
        .run(&["challenge", "wall_unit/quick_check", "--defects", "W99"])
        .refused(&["W99"]);
}

#[test]
fn a_person_who_does_not_answer_stops_the_run() {
    let place = Place::new();
    let item = std::fs::read_to_string(repository("sequences/items/wall_unit_32a.yaml")).unwrap();
    let refuses = item.replace("virtual: {}", "virtual: {person_lock_isolator: refuses}");
    assert_ne!(item, refuses);
    place.write("item.yaml", refuses);
    let arguments = [
        "rehearse",
        "wall_unit/quick_check",
        "--item",
        "item.yaml",
        "--no-pdf",
        "--out",
        "r",
        "--json",
    ];
    let ran = place.run(&arguments).exits(4);
    assert_eq!(ran.json()["codes"][0], 4);
    assert!(
        ran.err.contains("stopped: nobody answered") && ran.err.contains("made safe and read back"),
        "{}",
        ran.err
    );
}

#[test]
fn a_folder_that_cannot_be_made_is_the_benchs_fault() {
    let place = Place::new();
    place.write("file", "");
    let ran = place
        .run(&["rehearse", "wall_unit/quick_check", "--no-pdf", "--out", "file/below"])
        .exits(5);
    assert!(ran.err.contains("file/below") && ran.err.contains("mend: "), "{ran:?}");
}

#[test]
fn run_refuses_a_bench_in_memory_and_one_on_another_machine() {
    let place = Place::new();
    place
        .run(&["run", "wall_unit/quick_check", "--bench", "mid_bench"])
        .refused(&["in memory", "rehearse"]);
    let bench = std::fs::read_to_string(repository("sequences/benches/mid_bench_tcp.yaml")).unwrap();
    // 192.0.2.0/24 is kept for documentation (RFC 5737): nobody answers there, and nobody is asked.
    for address in ["192.0.2.1:5025", "[2001:db8::1]:5025", "0.0.0.0:5025"] {
        place.write("far.yaml", bench.replacen("127.0.0.1:5025", address, 1));
        let ran = place.run(&["run", "wall_unit/quick_check", "--bench", "far.yaml", "--out", "r"]);
        ran.refused(&["far.yaml:"]);
        assert!(!place.path().join("r").exists());
    }
}

#[test]
fn a_bench_that_nobody_serves_is_said_by_name_and_address() {
    let place = Place::new();
    // Port 1 of this machine: nothing listens there.
    let bench = std::fs::read_to_string(repository("sequences/benches/mid_bench_tcp.yaml")).unwrap();
    let ports = (5025..=5033).fold(bench, |text, port| {
        text.replace(&format!("127.0.0.1:{port}"), "127.0.0.1:1")
    });
    place.write("dead.yaml", ports);
    let ran = place
        .run(&["run", "wall_unit/quick_check", "--bench", "dead.yaml", "--out", "r"])
        .exits(5);
    assert!(
        ran.err.contains("127.0.0.1:1") && ran.err.contains("bench serve") && ran.err.contains("mend: "),
        "{ran:?}"
    );
    assert!(!place.path().join("r").exists());
}

/// A challenge that was stopped has no table, and says so.
#[test]
fn a_challenge_is_stopped_by_an_interrupt_with_code_4() {
    let child = std::process::Command::new(crate::support::binary())
        .args(["challenge", "wall_unit/acceptance_single_phase", "--jobs", "1"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    // The whole takes minutes; after this the first rehearsals are going.
    std::thread::sleep(std::time::Duration::from_secs(2));
    let id = child.id().to_string();
    let sent = std::process::Command::new("kill").args(["-INT", &id]).status().unwrap();
    assert!(sent.success());
    let ended = child.wait_with_output().unwrap();
    let said = String::from_utf8(ended.stderr).unwrap();
    assert_eq!(ended.status.code(), Some(4), "{said}");
    assert!(said.contains("stopped with Ctrl-C"), "{said}");
    assert!(ended.stdout.is_empty(), "{}", String::from_utf8_lossy(&ended.stdout));
}
