//! `fit`: what a bench can do with an item, before anything is plugged in, and the hook-up page.

use super::Context;
use crate::args::Fit;
use crate::bench_fit::drawing::{NARROWEST, drawing};
use crate::bench_fit::json::json;
use crate::bench_fit::lines::lines;
use crate::bench_fit::{BenchFit, words};
use crate::failure::Failure;
use crate::fitting::{Request, load};
use crate::text::harmless;
use std::path::{Path, PathBuf};

/// Columns where neither the command line nor the surroundings say how many there are.
const USUAL: usize = 100;

/// Exit code 0 where every limit of the steps that run can be decided, 3 where one cannot.
pub(super) fn perform(arguments: &Fit, context: &mut Context<'_>) -> Result<u8, Failure> {
    let request = Request {
        sequence: &arguments.sequence,
        fitting: &arguments.fitting,
        defect: None,
    };
    let fitted = load(request, &context.shelves)?;
    let fit = BenchFit::of(&fitted);
    context.times.lap("fit");
    let width = arguments.width.unwrap_or_else(surroundings);
    if context.json {
        context.output.json(&json(&fit));
    } else {
        let page = arguments.hook_up_only.then(|| drawing(&fit.hook_up, width));
        for line in page.unwrap_or_else(|| lines(&fit, width)) {
            context.output.data(&line);
        }
    }
    if let Some(folder) = &arguments.out {
        for path in write(&fit, folder)? {
            context
                .output
                .message(&format!("  written  {}", harmless(&path.display().to_string())));
        }
    }
    Ok(fit.exit_code())
}

/// What a shell says of its terminal.
fn surroundings() -> usize {
    let said = std::env::var("COLUMNS")
        .ok()
        .and_then(|text| text.trim().parse::<usize>().ok());
    said.filter(|columns| *columns >= NARROWEST)
        .map_or(USUAL, |columns| columns.min(160))
}

/// Everything as JSON, the page as text and as a PDF.
fn write(fit: &BenchFit<'_>, folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    std::fs::create_dir_all(folder).map_err(|error| Failure::disk(folder, &error))?;
    let pdf = pilotage_pdf::render_hook_up(&fit.hook_up).map_err(|error| {
        Failure::broken(
            format!("hook-up page: {error}"),
            "look at the page on the terminal instead (without --out), and report this",
        )
    })?;
    let text = drawing(&fit.hook_up, words::PRINTED).join("\n") + "\n";
    let files = [
        ("fit.json", format!("{:#}\n", json(fit)).into_bytes()),
        ("hook-up.txt", text.into_bytes()),
        ("hook-up.pdf", pdf),
    ];
    let put = |(name, bytes): (&str, Vec<u8>)| {
        let path = folder.join(name);
        std::fs::write(&path, bytes).map_err(|error| Failure::disk(&path, &error))?;
        Ok(path)
    };
    files.into_iter().map(put).collect()
}
