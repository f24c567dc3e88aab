//! No verb panics, whatever it is given: random arguments, damaged files, damaged records.

use crate::support::{copied, repository};
use clap::Parser;
use pilotage::args::Command;
use pilotage::output::Output;
use pilotage::verbs::perform;
use proptest::prelude::*;
use std::fmt::Write;

/// Does what would be typed, in this process, so that a panic fails the test. The exit code.
fn typed(arguments: &[String]) -> Option<u8> {
    let all = std::iter::once("pilotage".to_owned()).chain(arguments.iter().cloned());
    let command = Command::try_parse_from(all).ok()?;
    let mut output = Output::to(Box::new(std::io::sink()), Box::new(std::io::sink()));
    let code = match perform(command, &mut output) {
        Ok(code) => code,
        Err(failure) => {
            output.failure(&failure);
            failure.exit_code()
        }
    };
    assert!(code <= 6, "exit code {code}");
    Some(code)
}

fn words(parts: &[&str]) -> Vec<String> {
    parts.iter().map(|part| (*part).to_owned()).collect()
}

/// A shipped file with some of its bytes taken out, put in or doubled.
fn damaged() -> impl Strategy<Value = Vec<u8>> {
    let files = prop::sample::select(vec![
        "sequences/wall_unit/quick_check.yaml",
        "sequences/items/wall_unit_32a.yaml",
        "sequences/benches/mid_bench.yaml",
        "sequences/limits/iec_61851_1_2017.yaml",
        "sequences/sides/wall_unit.yaml",
        "sequences/defects/wall_unit/w03_low_rail_too_weak.yaml",
        "drivers/files/bench_meter.yaml",
        "tests/scenarios/every_act.yaml",
    ]);
    (
        files,
        prop::collection::vec((any::<prop::sample::Index>(), 0_usize..4, any::<u8>()), 1..4),
    )
        .prop_map(|(file, damages)| {
            let mut bytes = std::fs::read(repository(file)).unwrap();
            for (index, kind, byte) in damages {
                let at = index.index(bytes.len());
                match kind {
                    0 => drop(bytes.remove(at)),
                    1 => bytes.insert(at, byte),
                    2 => bytes[at] = byte,
                    _ => {
                        let end = (at + usize::from(byte)).min(bytes.len());
                        let part = bytes[at..end].to_vec();
                        bytes.splice(at..at, part);
                    }
                }
            }
            bytes
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    #[test]
    fn calc_takes_anything(text in "[0-9eE.+*/() $%<>=-]{0,24}|\\PC{0,24}|[0-9]{1,3} (V|A|kΩ|ms|%) [+*/-] [0-9]{1,3} (V|A|s)") {
        if text != "-" {
            typed(&[words(&["calc", "--"]), vec![text]].concat());
        }
    }

    #[test]
    fn names_may_be_anything(text in "\\PC{0,16}", verb in 0_usize..7) {
        let text = text.replace('/', "_");
        let before: &[&str] = match verb {
            0 => &["explain"],
            1 => &["schema"],
            2 => &["defects"],
            3 => &["verify"],
            4 => &["inspect"],
            5 => &["rehearse"],
            _ => &["check", "--short"],
        };
        typed(&[words(before), vec!["--".to_owned(), text]].concat());
    }

    #[test]
    fn check_takes_damaged_files(bytes in damaged()) {
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), bytes).unwrap();
        let path = file.path().to_str().unwrap();
        for form in ["--short", "--json"] {
            typed(&words(&["check", form, path]));
        }
        typed(&words(&["check", path]));
        typed(&words(&["check", "--short", "wall_unit/quick_check", "--item", path]));
        typed(&words(&["check", "--short", "wall_unit/quick_check", "--bench", path]));
        typed(&words(&["check", "--short", "wall_unit/quick_check", "--limits", path]));
    }

    #[test]
    fn inspect_takes_any_csv(rows in prop::collection::vec((-1e3_f64..1e3, prop_oneof![-15.0..15.0, any::<f64>()]), 0..60), even in any::<bool>()) {
        let mut text = String::new();
        for (n, (time, volt)) in rows.iter().enumerate() {
            let time = if even { n as f64 * 1e-5 } else { *time };
            writeln!(text, "{time},{volt}").unwrap();
        }
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), text).unwrap();
        typed(&words(&["inspect", file.path().to_str().unwrap()]));
        typed(&words(&["inspect", "--json", file.path().to_str().unwrap()]));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 16, ..ProptestConfig::default() })]

    #[test]
    fn damaged_records_are_told_from_whole_ones(index in any::<prop::sample::Index>(), length in 0_usize..200, new in any::<Vec<u8>>()) {
        let (place, record) = copied();
        let journal = record.join("journal.txt");
        let mut bytes = std::fs::read(&journal).unwrap();
        let before = bytes.clone();
        let at = index.index(bytes.len());
        let end = (at + length).min(bytes.len());
        bytes.splice(at..end, new);
        std::fs::write(&journal, &bytes).unwrap();
        let path = record.to_str().unwrap();
        let code = typed(&words(&["verify", path])).unwrap();
        prop_assert_eq!(code == 0, bytes == before);
        typed(&words(&["judge", path]));
        let out = place.path().join("again");
        typed(&words(&["report", path, "--no-pdf", "--out", out.to_str().unwrap()]));
    }
}
