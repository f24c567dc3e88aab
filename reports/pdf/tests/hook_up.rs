//! The hook-up page as a PDF: one page whatever hangs on the bench, texts stay texts, the same page gives the same bytes.
#![allow(clippy::unwrap_used)]

use pilotage_pdf::render_hook_up;
use pilotage_reports::hook_up::{Beside, HookUp, Lead, Meets, Rail, Stage};
use std::process::Command;

/// So many leads, by all six ways of meeting a conductor.
fn page(leads: usize) -> HookUp {
    let rail = |at: &str, conductor: &str| Rail {
        at: at.to_owned(),
        place: at.replace('_', " "),
        conductor: conductor.to_owned(),
    };
    let ways = [
        Meets::High,
        Meets::Low,
        Meets::Clamp,
        Meets::Series,
        Meets::Power,
        Meets::Each,
    ];
    let lead = |number: usize| Lead {
        number,
        instrument: format!("meter_{number}"),
        channel: number.is_multiple_of(2).then(|| number.to_string()),
        ends: vec![(number % 3, ways[number % 6]), (3 + number % 2, ways[(number + 1) % 6])],
        through: "differential".to_owned(),
        purpose: "AC voltage · DC voltage".to_owned(),
        dangerous: number > 3,
    };
    HookUp {
        sequence: "Acceptance".to_owned(),
        item: ("Wall unit".to_owned(), "WU-DEMO-0032".to_owned()),
        bench: "Mid bench".to_owned(),
        isolator: "Q1".to_owned(),
        stop: "red button S1".to_owned(),
        protected_by: Some("F1".to_owned()),
        cautions: vec![
            ("DANGER".to_owned(), "Mains.".to_owned()),
            ("OTHER".to_owned(), "Odd.".to_owned()),
        ],
        rails: vec![
            rail("ac_input", "L"),
            rail("ac_input", "N"),
            rail("ac_input", "PE"),
            rail("dc_output", "plus"),
            rail("dc_output", "minus"),
        ],
        leads: (1..=leads).map(lead).collect(),
        parts: vec![Beside {
            instrument: "thermometer 1".to_owned(),
            to: "the item's terminals".to_owned(),
            purpose: "temperature".to_owned(),
        }],
        on_bench: Vec::new(),
        order: vec![Stage {
            says: "All of them.".to_owned(),
            leads: (1..=leads).collect(),
        }],
        drawn_from: vec![("bench".to_owned(), "mid_bench.yaml".to_owned(), "0".repeat(64))],
    }
}

/// Text of a PDF by poppler, which `tests/run` installs; one form feed ends each page.
fn text_of(pdf: &[u8]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("page.pdf");
    std::fs::write(&path, pdf).unwrap();
    let out = Command::new("pdftotext").arg("-raw").arg(&path).arg("-").output();
    String::from_utf8(out.expect("pdftotext is installed: `tests/run tools` does it").stdout).unwrap()
}

#[test]
fn one_page_whatever_hangs_on_the_bench() {
    for leads in [0, 6, 40] {
        let pdf = render_hook_up(&page(leads)).unwrap();
        let text = text_of(&pdf);
        assert_eq!(text.matches('\u{c}').count(), 1, "{leads} leads");
        for number in 1..=leads {
            assert!(
                text.contains(&format!("meter_{number}")),
                "{leads} leads: {number} is missing"
            );
        }
        assert!(text.contains("Q1") && text.contains("red button S1") && text.contains("thermometer 1"));
        assert!(
            pdf == render_hook_up(&page(leads)).unwrap(),
            "two pages of one bench differ"
        );
    }
}

#[test]
fn names_of_others_stay_texts() {
    let hostile = "#panic(\"x\") *b* $a$ <l> @ref \\ \u{202e}evil \u{0}";
    let mut page = page(4);
    page.isolator = hostile.to_owned();
    page.item.0 = hostile.to_owned();
    page.leads[0].instrument = hostile.to_owned();
    page.rails[0].conductor = hostile.to_owned();
    page.cautions[0] = (hostile.to_owned(), hostile.to_owned());
    let text = text_of(&render_hook_up(&page).unwrap());
    assert!(
        text.matches("#panic(\"x\")").count() >= 4 && text.contains("‹U+202E›evil"),
        "{text}"
    );
}
