//! Records: written, sealed, read back; every change of a sealed record is found, with its line or file.
#![allow(clippy::unwrap_used)]

mod common;

use common::{at, write_run};
use pilotage_evidence::event::Event;
use pilotage_evidence::record::{FindingKind, JournalWriter, RecordError};
use pilotage_evidence::{EnergyState, Record, RecordWriter};
use proptest::prelude::*;
use std::fs;
use std::path::Path;
use tempfile::tempdir;

/// What a person would see: the findings, or why the record cannot be opened.
fn seen(folder: &Path) -> Vec<String> {
    match Record::open(folder) {
        Ok(record) => record.verify().iter().map(ToString::to_string).collect(),
        Err(error) => vec![error.to_string()],
    }
}

/// The smallest sealed record: two inputs, one capture, a dozen lines.
fn small(folder: &Path) {
    written(folder, false);
}

fn written(folder: &Path, with_an_intent: bool) {
    let mut out = RecordWriter::create(folder).unwrap();
    let inputs = vec![out.input("item", "item.yaml", b"pilotage: item/1\n").unwrap()];
    out.append(at(0), Event::RunStarted(Box::new(common::heading(inputs))))
        .unwrap();
    let (file, sha256) = out.store("c", &[vec![1, -2, 300]]).unwrap();
    let mut capture: pilotage_evidence::event::Capture = serde_json::from_str(
        r#"{"name":"c","step":0,"pass":null,"file":"","sha256":"","channels":[{"point":"pilot","unit":"V","first_sample":0,
        "interval_s":1e-5,"samples":3,"offset":0.0,"scale":1.0,"gain_standard":null,"offset_standard":null,"time_standard":null}],
        "exchanges":[]}"#,
    )
    .unwrap();
    (capture.file, capture.sha256) = (file, sha256);
    out.append(at(1), Event::Captured(capture)).unwrap();
    if with_an_intent {
        let intent = Event::Intent {
            act: 0,
            order: "set supply to on".to_owned(),
            before: EnergyState::Isolated,
            after: EnergyState::Unknown,
            messages: Vec::new(),
        };
        out.append(at(1), intent).unwrap();
    }
    for step in 0..4 {
        out.append(at(2 + u64::from(step)), Event::StepStarted { step })
            .unwrap();
    }
    let end = Event::RunEnded {
        verdict: pilotage_evidence::Verdict::NotRun,
        exit_code: 3,
        codes: vec![3],
    };
    out.append(at(9), end).unwrap();
    out.seal().unwrap();
}

/// A run that died: the seal is not there, and the samples of the capture did not reach the disk.
fn cut_off(folder: &Path, with_a_later_intent: bool) -> Vec<FindingKind> {
    written(folder, with_a_later_intent);
    fs::remove_file(folder.join("seal.json")).unwrap();
    let capture = fs::read_dir(folder.join("captures")).unwrap().next().unwrap().unwrap();
    fs::remove_file(capture.path()).unwrap();
    let findings = Record::open(folder).unwrap().verify();
    findings
        .into_iter()
        .filter(pilotage_evidence::record::Finding::is_alteration)
        .map(|finding| finding.kind)
        .collect()
}

#[test]
fn samples_lost_with_a_cut_off_run_are_no_alteration_unless_an_intent_was_synced_behind_them() {
    assert_eq!(cut_off(tempdir().unwrap().path(), false), Vec::new());
    assert_eq!(cut_off(tempdir().unwrap().path(), true), vec![FindingKind::Missing]);
}

#[test]
fn a_sealed_record_reads_back_whole_and_nothing_is_found() {
    let folder = tempdir().unwrap();
    let record = common::run(folder.path());
    assert_eq!(seen(folder.path()), Vec::<String>::new());
    assert!(
        record
            .events()
            .iter()
            .enumerate()
            .all(|(n, stamped)| stamped.seq == n as u64)
    );
    assert_eq!(record.seal().unwrap().head, record.head());
    assert_eq!(record.seal().unwrap().lines, record.events().len() as u64);
    assert_eq!(
        record.input(&record.heading().inputs[0]).unwrap(),
        b"pilotage: sequence/1\n"
    );
    let capture = record.events().iter().find_map(|stamped| match &stamped.event {
        Event::Captured(capture) => Some(capture),
        _ => None,
    });
    let samples = record.samples(capture.unwrap()).unwrap();
    assert_eq!((samples[0].raw[0], samples[1].raw[199]), (1100, 1300));
}

#[test]
fn the_same_run_gives_the_same_bytes() {
    let (one, two) = (tempdir().unwrap(), tempdir().unwrap());
    write_run(one.path());
    write_run(two.path());
    for file in ["journal.txt", "seal.json"] {
        assert_eq!(
            fs::read(one.path().join(file)).unwrap(),
            fs::read(two.path().join(file)).unwrap()
        );
    }
}

fn all_files(folder: &Path) -> Vec<std::path::PathBuf> {
    let mut files = vec![folder.join("journal.txt"), folder.join("seal.json")];
    for part in ["inputs", "captures"] {
        files.extend(
            fs::read_dir(folder.join(part))
                .unwrap()
                .map(|entry| entry.unwrap().path()),
        );
    }
    files
}

#[test]
fn every_flipped_bit_of_a_journal_is_found_with_its_line() {
    let folder = tempdir().unwrap();
    small(folder.path());
    let whole = fs::read(folder.path().join("journal.txt")).unwrap();
    let mut bytes = whole.clone();
    let mut line = 1;
    for at in 0..whole.len() {
        for bit in 0..8 {
            bytes[at] = whole[at] ^ (1 << bit);
            let found = match Record::from_bytes(&bytes, "journal.txt") {
                Ok(record) => record.flaws().iter().map(ToString::to_string).collect(),
                Err(error) => error.to_string(),
            };
            assert!(
                found.contains(&format!("line {line}:")),
                "bit {bit} of byte {at}, line {line}: {found}"
            );
        }
        bytes[at] = whole[at];
        line += u64::from(whole[at] == b'\n');
    }
}

#[test]
fn every_flipped_byte_of_every_sealed_file_is_found() {
    let folder = tempdir().unwrap();
    small(folder.path());
    for file in all_files(folder.path()) {
        let whole = fs::read(&file).unwrap();
        for at in 0..whole.len() {
            let mut bytes = whole.clone();
            bytes[at] ^= 1 << (at % 8);
            fs::write(&file, &bytes).unwrap();
            assert!(!seen(folder.path()).is_empty(), "byte {at} of {}", file.display());
        }
        fs::write(&file, &whole).unwrap();
    }
    assert_eq!(seen(folder.path()), Vec::<String>::new());
}

#[test]
fn a_sealed_record_cut_at_any_byte_is_found() {
    let folder = tempdir().unwrap();
    small(folder.path());
    for file in all_files(folder.path()) {
        let whole = fs::read(&file).unwrap();
        for length in 0..whole.len() {
            fs::write(&file, &whole[..length]).unwrap();
            assert!(!seen(folder.path()).is_empty(), "{} cut to {length}", file.display());
        }
        fs::write(&file, &whole).unwrap();
    }
}

#[test]
fn deleted_doubled_and_swapped_lines_are_found_by_number() {
    let folder = tempdir().unwrap();
    small(folder.path());
    let journal = folder.path().join("journal.txt");
    let whole = fs::read_to_string(&journal).unwrap();
    let lines: Vec<&str> = whole.split_inclusive('\n').collect();
    let attempt = |changed: Vec<&str>, first: usize| {
        fs::write(&journal, changed.concat()).unwrap();
        let found = seen(folder.path());
        let named = found.iter().any(|what| what.contains(&format!("line {first}:")));
        assert!(named || (first > changed.len() && !found.is_empty()), "{found:?}");
    };
    for n in 0..lines.len() {
        let mut deleted = lines.clone();
        deleted.remove(n);
        attempt(deleted, n + 1);
        let mut doubled = lines.clone();
        doubled.insert(n, lines[n]);
        attempt(doubled, n + 2);
        for m in n + 1..lines.len() {
            let mut swapped = lines.clone();
            swapped.swap(n, m);
            attempt(swapped, n + 1);
        }
    }
}

#[test]
fn added_and_removed_files_are_found() {
    let folder = tempdir().unwrap();
    small(folder.path());
    for name in ["note.txt", "inputs/more.yaml", "captures/9999-x.i16", "seal.part"] {
        let path = folder.path().join(name);
        fs::write(&path, b"x").unwrap();
        assert!(seen(folder.path()).iter().any(|what| what.starts_with(name)), "{name}");
        fs::remove_file(&path).unwrap();
    }
    for name in ["more", "inputs/deep"] {
        fs::create_dir(folder.path().join(name)).unwrap();
        assert!(seen(folder.path()).iter().any(|what| what.starts_with(name)), "{name}");
        fs::remove_dir(folder.path().join(name)).unwrap();
    }
    for file in all_files(folder.path()) {
        let bytes = fs::read(&file).unwrap();
        fs::remove_file(&file).unwrap();
        assert!(!seen(folder.path()).is_empty(), "{}", file.display());
        fs::write(&file, bytes).unwrap();
    }
    fs::create_dir(folder.path().join("reports")).unwrap();
    fs::write(folder.path().join("reports/a.pdf"), b"x").unwrap();
    assert_eq!(
        seen(folder.path()),
        Vec::<String>::new(),
        "reports lie beside what is sealed"
    );
}

#[test]
fn a_seal_in_other_layout_or_of_another_journal_is_found() {
    let (folder, other) = (tempdir().unwrap(), tempdir().unwrap());
    small(folder.path());
    write_run(other.path());
    let seal = folder.path().join("seal.json");
    let text = fs::read_to_string(&seal).unwrap();
    for changed in [
        text.trim_end().to_owned(),
        text.replace("  ", "\t"),
        format!("{text}\n"),
        text.replace("\"form\": 1", "\"form\": 0"),
    ] {
        fs::write(&seal, changed).unwrap();
        assert!(seen(folder.path()).iter().any(|what| what.starts_with("seal.json")));
    }
    fs::copy(other.path().join("seal.json"), &seal).unwrap();
    assert!(!seen(folder.path()).is_empty());
}

#[test]
fn an_unsealed_record_cut_at_any_byte_yields_its_valid_prefix() {
    let folder = tempdir().unwrap();
    small(folder.path());
    fs::remove_file(folder.path().join("seal.json")).unwrap();
    let journal = folder.path().join("journal.txt");
    let whole = fs::read(&journal).unwrap();
    let first = whole.iter().position(|byte| *byte == b'\n').unwrap() + 1;
    for length in first..whole.len() {
        fs::write(&journal, &whole[..length]).unwrap();
        let record = Record::open(folder.path()).unwrap();
        let lines = whole[..length].split(|byte| *byte == b'\n').count() - 1;
        assert_eq!(record.events().len(), lines, "cut to {length}");
        let findings = record.verify();
        assert!(findings.iter().any(|finding| finding.kind == FindingKind::Unsealed));
        let torn = findings.iter().any(|finding| finding.kind == FindingKind::Torn);
        assert_eq!(torn, whole[length - 1] != b'\n');
        assert!(findings.iter().all(|finding| !finding.is_alteration()), "{findings:?}");
    }
    for length in 0..first {
        fs::write(&journal, &whole[..length]).unwrap();
        assert!(
            matches!(Record::open(folder.path()), Err(RecordError::NoHeading { .. })),
            "cut to {length}"
        );
    }
}

#[test]
fn a_run_that_died_while_sealing_is_cut_off_and_not_altered() {
    let folder = tempdir().unwrap();
    small(folder.path());
    let seal = folder.path().join("seal.json");
    fs::rename(&seal, folder.path().join("seal.part")).unwrap();
    let findings = Record::open(folder.path()).unwrap().verify();
    assert!(
        findings.len() == 2 && findings.iter().all(|finding| !finding.is_alteration()),
        "{findings:?}"
    );
}

#[test]
fn a_newer_form_is_refused_by_number_and_says_what_to_do() {
    let mut heading = common::heading(Vec::new());
    heading.form = 7;
    let mut journal = JournalWriter::new(Vec::new(), "journal.txt");
    journal.append(at(0), Event::RunStarted(Box::new(heading))).unwrap();
    let error = Record::from_bytes(&journal.into_sink().unwrap(), "a/journal.txt")
        .unwrap_err()
        .to_string();
    assert_eq!(
        error,
        "a/journal.txt: line 1: written in form 7 of the journal, this program reads forms 1 to 1; open it with a newer program"
    );
}

#[test]
fn a_form_that_never_was_is_refused() {
    let mut heading = common::heading(Vec::new());
    heading.form = 0;
    let mut journal = JournalWriter::new(Vec::new(), "journal.txt");
    journal.append(at(0), Event::RunStarted(Box::new(heading))).unwrap();
    let error = Record::from_bytes(&journal.into_sink().unwrap(), "j")
        .unwrap_err()
        .to_string();
    assert!(error.contains("no form 0"), "{error}");
}

#[test]
fn a_name_from_a_journal_never_leaves_the_captures() {
    let folder = tempdir().unwrap();
    let record = common::run(folder.path());
    let mut capture = record
        .events()
        .iter()
        .find_map(|stamped| match &stamped.event {
            Event::Captured(capture) => Some(capture.clone()),
            _ => None,
        })
        .unwrap();
    for name in ["../journal.txt", "..", "", "/etc/hostname", "a/b"] {
        capture.file = name.to_owned();
        assert!(
            record
                .samples(&capture)
                .unwrap_err()
                .to_string()
                .contains("not the name of a file"),
            "{name}"
        );
    }
}

#[test]
fn whatever_bytes_come_a_journal_is_refused_and_never_panics() {
    for bytes in [&b""[..], b"\n", b"{}", b"\xff\xff\n", &[b'0'; 70], &[b'{'; 5000]] {
        assert!(Record::from_bytes(bytes, "journal.txt").is_err());
    }
}

proptest! {
    #[test]
    fn a_journal_that_is_chained_well_and_says_nonsense_is_refused(texts in prop::collection::vec("[ -~]{0,60}", 1..6)) {
        let mut previous = pilotage_evidence::record::chain::START.to_owned();
        let mut bytes = Vec::new();
        for text in texts {
            previous = pilotage_evidence::record::chain::hash(&previous, text.as_bytes());
            bytes.extend(format!("{previous} {text}\n").into_bytes());
        }
        prop_assert!(Record::from_bytes(&bytes, "journal.txt").is_err());
    }

    #[test]
    fn any_text_written_is_read_back_the_same(texts in prop::collection::vec(("\\PC*", any::<String>()), 0..8)) {
        let mut journal = JournalWriter::new(Vec::new(), "journal.txt");
        let mut events = vec![Event::RunStarted(Box::new(common::heading(Vec::new())))];
        events.extend(texts.into_iter().map(|(prompt, answer)| Event::Asked { prompt, answer, by: "x".to_owned(), hands: false }));
        for event in &events {
            journal.append(at(5), event.clone()).unwrap();
        }
        let head = journal.head().to_owned();
        let record = Record::from_bytes(&journal.into_sink().unwrap(), "journal.txt").unwrap();
        let back: Vec<Event> = record.events().iter().map(|stamped| stamped.event.clone()).collect();
        prop_assert_eq!(back, events);
        prop_assert_eq!(record.head(), head);
    }

    #[test]
    fn any_number_written_is_read_back_to_the_last_bit(si in any::<f64>().prop_filter("finite", |x| x.is_finite()), u in any::<f64>().prop_filter("finite", |x| x.is_finite())) {
        let value = common::measured(common::volts(si), "gain", u);
        let reading = common::reading("v", 0, "pilot.high", "V", Ok(value), 3);
        let mut journal = JournalWriter::new(Vec::new(), "journal.txt");
        journal.append(at(0), Event::RunStarted(Box::new(common::heading(Vec::new())))).unwrap();
        journal.append(at(1), Event::Reading(Box::new(reading.clone()))).unwrap();
        let record = Record::from_bytes(&journal.into_sink().unwrap(), "journal.txt").unwrap();
        let Some(Event::Reading(back)) = record.event(1) else { panic!("a reading was written") };
        let bits = |reading: &pilotage_evidence::event::Reading| reading.value.as_ref().unwrap().value.si().to_bits();
        prop_assert_eq!(bits(back), bits(&reading));
        prop_assert_eq!(&**back, &reading);
    }
}
