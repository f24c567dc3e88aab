//! The PDF as bytes: the same record gives the same file, texts stay texts, the journal is attached.
#![allow(clippy::unwrap_used)]

#[path = "../../../engine/evidence/tests/common/mod.rs"]
mod common;
mod text;

use pilotage_evidence::document::{Document, TroubleRow, build};
use pilotage_pdf::render;
use text::{squeezed, text_of};

const JOURNAL: &[u8] = b"the journal, byte for byte\n";

fn document() -> Document {
    let folder = tempfile::tempdir().unwrap();
    build(&common::run(folder.path()), &[])
}

fn holds(bytes: &[u8], part: &[u8]) -> bool {
    bytes.windows(part.len()).any(|window| window == part)
}

#[test]
fn the_same_record_gives_the_same_bytes() {
    let document = document();
    let first = render(&document, JOURNAL).unwrap();
    assert!(first.starts_with(b"%PDF-1.7"));
    assert!(
        first == render(&document, JOURNAL).unwrap(),
        "two files of one record differ"
    );
    // PDF/A-3b, in metadata that stand uncompressed (ISO 19005-3, 6.6.2).
    assert!(
        holds(&first, b"<pdfaid:part>3</pdfaid:part>") && holds(&first, b"<pdfaid:conformance>B</pdfaid:conformance>")
    );
    assert!(holds(&first, b"/AFRelationship/Data") && holds(&first, b"journal.txt"));
}

#[test]
fn texts_of_others_stay_texts() {
    let mut document = document();
    let hostile = "#panic(\"x\") *b* $a$ `r` <l> @ref \\ // [c] {d} \u{202e}evil \u{1F600} \u{0} \u{FEFF}";
    document.title = hostile.to_owned();
    document.item.serial = hostile.to_owned();
    document.run = "= heading\n- list\n#import \"/journal.txt\"".to_owned();
    for step in &mut document.steps {
        step.title = hostile.to_owned();
        for row in &mut step.rows {
            row.name = hostile.to_owned();
            row.raw
                .iter_mut()
                .for_each(|raw| raw.received = Some(hostile.to_owned()));
        }
    }
    document.troubles.push(TroubleRow {
        at_s: 1.0,
        seq: 3,
        instrument: "meter".to_owned(),
        text: hostile.repeat(20),
        mend: "x".repeat(400),
    });
    let text = text_of(&render(&document, JOURNAL).unwrap());
    let shown = "#panic(\"x\")*b*$a$`r`<l>@ref\\//[c]{d}‹U+202E›evil‹U+1F600›‹U+0000›‹U+FEFF›";
    assert!(text.matches(shown).count() > document.steps.len(), "{text}");
    assert!(text.contains("=heading-list#import\"/journal.txt\""));
    assert!(text.contains(&"x".repeat(400)));
}

#[test]
fn what_is_not_confirmed_stands_before_the_verdict() {
    let mut document = document();
    document.said_first = vec![
        "NOT CONFIRMED DEAD.".to_owned(),
        "Open Q1, lock it, measure by hand.".to_owned(),
    ];
    document.made_safe[0].confirmed = false;
    document.made_safe[0].lines[0].1 = false;
    document.made_safe[0].by_hand = Some("Open Q1, lock it, measure by hand.".to_owned());
    let text = text_of(&render(&document, JOURNAL).unwrap());
    let place = |part: &str| {
        text.find(&squeezed(part))
            .unwrap_or_else(|| panic!("`{part}` is missing: {text}"))
    };
    assert!(place("NOT CONFIRMED DEAD.") < place("FAIL"));
    assert!(place("Which side") < place("Steps"));
    assert!(text.matches("Openlockit").count() <= 2 && text.contains("NOTCONFIRMED"));
}

#[test]
fn a_start_that_is_no_time_is_named() {
    let mut document = document();
    document.started = "yesterday".to_owned();
    assert!(
        render(&document, JOURNAL)
            .unwrap_err()
            .to_string()
            .contains("`yesterday`")
    );
}

#[test]
fn a_capture_of_nonsense_is_drawn_or_left_out() {
    let mut document = document();
    for points in [
        Vec::new(),
        vec![(0.0, 1.0, 1.0)],
        vec![(0.0, 1.0, 1.0), (0.0, 1.0, 1.0)],
        vec![(0.0, -1e300, 1e300), (1.0, 0.0, 0.0)],
        vec![(0.0, f64::MIN, f64::MAX), (1e300, 0.0, 0.0)],
        vec![(f64::NAN, f64::NAN, 0.0), (1.0, f64::INFINITY, 0.0)],
    ] {
        document.captures[0].channels[0].points = points;
        document.captures[0].events = vec![(f64::NAN, "never".to_owned()), (0.0, "x".repeat(300))];
        assert!(render(&document, JOURNAL).is_ok());
    }
}
