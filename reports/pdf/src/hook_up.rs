//! A hook-up page made into a PDF of one page. It is no evidence of a run: no date stands on it, only the hashes of the files
//! that it was drawn from, and the same files give the same bytes.

use crate::printable;
use crate::render::{PdfError, said};
use crate::world::{HOOK_UP, ReportWorld};
use pilotage_reports::hook_up::HookUp;
use typst::foundations::Smart;
use typst_layout::PagedDocument;
use typst_pdf::PdfOptions;

/// Typesets a hook-up page. Gives the bytes of a PDF file.
pub fn render_hook_up(page: &HookUp) -> Result<Vec<u8>, PdfError> {
    let refused = |error: serde_json::Error| PdfError::Document(error.to_string());
    let mut view = serde_json::to_value(page).map_err(refused)?;
    printable::value(&mut view);
    let data = serde_json::to_vec(&view).map_err(refused)?;
    let world = ReportWorld::new(HOOK_UP, vec![("/document.json", data)], None);
    let pages = typst::compile::<PagedDocument>(&world)
        .output
        .map_err(|errors| said(&errors))?;
    let hashes: Vec<&str> = page.drawn_from.iter().map(|(_, _, hash)| hash.as_str()).collect();
    let options = PdfOptions {
        ident: Smart::Custom(format!("hook-up {}", hashes.join(" "))),
        creator: Smart::Custom(Some("Pilotage".to_owned())),
        ..PdfOptions::default()
    };
    let pdf = typst_pdf::pdf(&pages, &options).map_err(|errors| said(&errors));
    typst::comemo::evict(10);
    pdf
}
