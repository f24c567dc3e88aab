//! Pictures in the PDF: their labels and numbers are texts, each image says the same in words, and the same record gives the
//! same bytes.
#![allow(clippy::unwrap_used)]

#[path = "../../../engine/evidence/tests/common/mod.rs"]
mod common;
mod text;

use common::pictured::charger;
use pilotage_evidence::document::picture::{Shows, Spot};
use pilotage_evidence::document::{Document, build};
use pilotage_pdf::render;
use text::text_of;

fn document() -> Document {
    let folder = tempfile::tempdir().unwrap();
    build(&charger(folder.path()), &[])
}

fn spots(document: &Document) -> Vec<&Spot> {
    let mut spots = Vec::new();
    for picture in &document.pictures {
        if let Shows::Map(map) = &picture.shows {
            spots.extend(map.cells.iter().map(|cell| &cell.spot));
        }
    }
    spots
}

#[test]
fn labels_numbers_and_units_are_texts() {
    let document = document();
    let pdf = render(&document, b"journal\n").unwrap();
    assert!(
        pdf == render(&document, b"journal\n").unwrap(),
        "two files of one record differ"
    );
    // For eyes: target/tmp/pictures.pdf.
    std::fs::write(concat!(env!("CARGO_TARGET_TMPDIR"), "/pictures.pdf"), &pdf).unwrap();
    let text = text_of(&pdf);
    for wanted in [
        "Efficiency over load and supply voltage",
        "limit ≥ 90 %",
        "supply voltage / V",
        "load / %",
        "Current against the offer",
        "line current / A",
        "duty of the pilot / %",
        "IEC 61851-1, Table A.8",
        "Harmonics of the line current",
        "harmonic order",
        "Half a second at 40 % of the supply",
        "supply.envelope falls through 160 V, 150.0 ms",
        "output current rises through 15 A, 770.0 ms",
        "An hour at full load",
        "coolant out / °C",
        "output current / A",
        "t / min",
    ] {
        let squeezed: String = wanted.chars().filter(|c| !c.is_whitespace()).collect();
        assert!(text.contains(&squeezed), "`{wanted}` is missing: {text}");
    }
    let spots = spots(&document);
    assert_eq!(spots.len(), 30);
    for spot in spots {
        let number = spot.text.trim_end_matches(['%', ' ']);
        assert!(text.contains(number), "{number} is missing");
    }
    // Pictures come before the tables.
    let place = |part: &str| text.find(part).unwrap();
    assert!(place("Efficiencyoverload") < place("Readingsagainstlimits"));
}

#[test]
fn pictures_of_nonsense_are_drawn_or_left_out() {
    let mut document = document();
    let bad = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e300, -1e300, 0.0];
    for number in bad {
        for picture in &mut document.pictures {
            picture.title = "#panic(1) *b* \u{202e}x \u{1F600}".to_owned();
            match &mut picture.shows {
                Shows::Map(map) => {
                    map.across.says = "[a] $b$ \\".to_owned();
                    map.columns[0] = number;
                    map.cells[0].spot.value = Some(number);
                    map.cells[1].spot.value = None;
                }
                Shows::Ladder(ladder) => {
                    ladder.series[0].points[0].0 = number;
                    ladder.series[0].points[1].1.value = Some(number);
                    ladder.series[0].points[2].1.expanded = Some(number);
                    ladder.series[0].points[3].1.low = Some(number);
                }
                Shows::Bars(bars) => {
                    bars.bars[0].spot.value = Some(number);
                    bars.bars[1].spot.value = None;
                    bars.bars[2].spot.expanded = Some(number);
                    bars.bars[3].label = "x".repeat(200);
                }
                Shows::Course(course) => {
                    course.panels[0].lines[0].pieces[0][0].value = number;
                    course.panels[0].lines[0].pieces[0][1].at_s = number;
                    course.panels[1].bounds.push(number);
                }
            }
        }
        assert!(render(&document, b"").is_ok(), "{number}");
        for picture in &mut document.pictures {
            if let Shows::Bars(bars) = &mut picture.shows {
                bars.logarithmic = !bars.logarithmic;
            }
        }
    }
}
