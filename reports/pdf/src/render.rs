//! A document made into a PDF.

use crate::view::view;
use crate::world::{REPORT, ReportWorld};
use pilotage_evidence::document::Document;
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;
use typst::diag::SourceDiagnostic;
use typst::foundations::{Datetime, Smart};
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards, Timestamp};

/// Why no PDF could be made. The record is untouched: the report can be made again from it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PdfError {
    /// The run's start is not a time.
    #[error("the record's start `{started}` is not a time in the form of RFC 3339")]
    Started {
        /// As recorded.
        started: String,
    },
    /// The document has no JSON form.
    #[error("the document could not be handed to the typesetter: {0}")]
    Document(String),
    /// The typesetter refused the template or the standard's check failed.
    #[error("the typesetter said: {0}")]
    Typesetter(String),
}

/// Reads the fonts and the typesetter's library, so that the first [`render`] need not. Worth a thread while a run goes on.
pub fn warm_up() {
    crate::world::warm_up();
}

/// Typesets a document. `journal` is the record's journal, byte for byte; it is attached. Gives the bytes of a PDF/A-3b file.
pub fn render(document: &Document, journal: &[u8]) -> Result<Vec<u8>, PdfError> {
    let started = started(&document.started)?;
    let data = serde_json::to_vec(&view(document).map_err(|error| PdfError::Document(error.to_string()))?)
        .map_err(|error| PdfError::Document(error.to_string()))?;
    let files = vec![("/document.json", data), ("/journal.txt", journal.to_vec())];
    let world = ReportWorld::new(REPORT, files, Some(started));
    let pages = typst::compile::<PagedDocument>(&world)
        .output
        .map_err(|errors| said(&errors))?;
    let pdf = typst_pdf::pdf(&pages, &options(document, started)?).map_err(|errors| said(&errors));
    // A server or a campaign makes many reports; what earlier ones left behind is given back.
    typst::comemo::evict(10);
    pdf
}

fn options(document: &Document, started: Datetime) -> Result<PdfOptions, PdfError> {
    let standards =
        PdfStandards::new(&[PdfStandard::A_3b]).map_err(|error| PdfError::Typesetter(format!("{error:?}")))?;
    Ok(PdfOptions {
        ident: Smart::Custom(document.evidence.head.clone()),
        creator: Smart::Custom(Some(format!("Pilotage {}", document.program_version))),
        timestamp: Some(Timestamp::new_utc(started)),
        standards,
        ..PdfOptions::default()
    })
}

fn started(text: &str) -> Result<Datetime, PdfError> {
    let wrong = || PdfError::Started {
        started: text.to_owned(),
    };
    let time = OffsetDateTime::parse(text, &Rfc3339).map_err(|_| wrong())?;
    let (date, clock) = (time.date(), time.time());
    Datetime::from_ymd_hms(
        date.year(),
        date.month().into(),
        date.day(),
        clock.hour(),
        clock.minute(),
        clock.second(),
    )
    .ok_or_else(wrong)
}

pub(crate) fn said(errors: &[SourceDiagnostic]) -> PdfError {
    let lines: Vec<String> = errors
        .iter()
        .map(|error| {
            let hints: Vec<String> = error.hints.iter().map(|hint| format!("{hint:?}")).collect();
            format!("{} {}", error.message, hints.join(" "))
        })
        .collect();
    PdfError::Typesetter(lines.join("; "))
}
