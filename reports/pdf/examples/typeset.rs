//! Times how long the PDF of a record takes: `cargo run --release -p pilotage-pdf --example typeset RECORD [FILE.pdf]`.
//!
//! The first number is what a single run pays; the others come from a warm process. Side rules are left out: they change
//! a sentence and no layout.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use pilotage_evidence::Record;
use pilotage_evidence::document::build;
use std::path::PathBuf;
use std::time::Instant;

fn main() {
    let mut arguments = std::env::args().skip(1);
    let folder = PathBuf::from(arguments.next().expect("the folder of a record"));
    let journal = std::fs::read(folder.join("journal.txt")).unwrap();
    let record = Record::open(&folder).unwrap();
    let began = Instant::now();
    let document = build(&record, &[]);
    println!("document {:.1} ms", began.elapsed().as_secs_f64() * 1e3);
    let mut pdf = Vec::new();
    for _ in 0..5 {
        let began = Instant::now();
        pdf = pilotage_pdf::render(&document, &journal).unwrap();
        println!("PDF {:.1} ms, {} bytes", began.elapsed().as_secs_f64() * 1e3, pdf.len());
    }
    if let Some(path) = arguments.next() {
        std::fs::write(path, pdf).unwrap();
    }
}
