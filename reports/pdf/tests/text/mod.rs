//! Text of a PDF by poppler, which `tests/run` installs.
#![allow(clippy::unwrap_used, dead_code)]

use std::process::Command;

/// Without blanks and line ends.
pub(crate) fn text_of(pdf: &[u8]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("report.pdf");
    std::fs::write(&path, pdf).unwrap();
    let out = Command::new("pdftotext").arg("-raw").arg(&path).arg("-").output();
    let out = out.expect("pdftotext is installed: `tests/run tools` does it");
    squeezed(&String::from_utf8(out.stdout).unwrap())
}

pub(crate) fn squeezed(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_whitespace() && *c != '\u{200B}')
        .collect()
}
