//! `challenge`: does a step notice each defect, and does no step complain about healthy items?

use super::Context;
use crate::args::Challenge;
use crate::challenge::campaign::{Campaign, trials};
use crate::challenge::picture::svg;
use crate::challenge::table::Table;
use crate::claims::claimed_step;
use crate::failure::Failure;
use crate::fitting::{Request, all_defects, load};
use crate::shipped::{Shelves, did_you_mean};
use crate::text::harmless;
use pilotage_plan::files::defect::DefectFile;
use std::path::Path;
use std::time::Instant;

/// Exit code 0 where everything claimed is noticed and no healthy item fails, 1 otherwise.
pub(super) fn perform(arguments: &Challenge, context: &mut Context<'_>) -> Result<u8, Failure> {
    let request = Request {
        sequence: &arguments.sequence,
        fitting: &arguments.fitting,
        defect: None,
    };
    let fitted = load(request, &context.shelves)?;
    let defects = chosen(arguments, &fitted, &context.shelves)?;
    let sort = crate::wiring::setup::sort(&fitted.item)?;
    let times = (arguments.seeds, arguments.healthy);
    let trials = trials(sort, &defects, &arguments.severities, times);
    let campaign = Campaign {
        fitted: &fitted,
        defects: &defects,
        trials,
    };
    let jobs = arguments
        .jobs
        .unwrap_or_else(|| std::thread::available_parallelism().map_or(1, usize::from));
    let count = campaign.trials.len();
    let progress = context.output.live.then(|| indicatif::ProgressBar::new(count as u64));
    let began = Instant::now();
    let results = campaign.run(jobs, &|done| {
        if let Some(progress) = &progress {
            progress.set_position(done as u64);
        }
    })?;
    let seconds = began.elapsed().as_secs_f64();
    if let Some(progress) = progress {
        progress.finish_and_clear();
    }
    let table = Table::new(&campaign, &results);
    say(&table, context);
    let rate = count as f64 / seconds / jobs as f64;
    context.output.message(&format!(
        "\n  {count} rehearsals in {seconds:.1} s on {jobs} thread(s): {rate:.1} a second and thread. Virtual bench, no item was tested."
    ));
    if let Some(folder) = &arguments.out {
        keep(&table, folder, context)?;
    }
    Ok(u8::from(!table.holds()))
}

/// The defects of the item's kind that were asked for: those that a step of the sequence must notice, unless all are wanted or
/// some are named.
fn chosen(
    arguments: &Challenge,
    fitted: &crate::fitting::Fitted,
    shelves: &Shelves,
) -> Result<Vec<DefectFile>, Failure> {
    let all = all_defects(shelves)?
        .into_iter()
        .map(|(_, file)| file)
        .filter(|file| file.item.value == fitted.item.kind.value);
    if arguments.defects.is_empty() {
        let claimed = |file: &DefectFile| arguments.all || claimed_step(file, &fitted.sequence).is_some();
        return Ok(all.filter(claimed).collect());
    }
    let all: Vec<DefectFile> = all.collect();
    arguments.defects.iter().map(|id| named(id, &all)).collect()
}

pub(super) fn named(id: &str, all: &[DefectFile]) -> Result<DefectFile, Failure> {
    all.iter()
        .find(|file| file.id.value.eq_ignore_ascii_case(id))
        .cloned()
        .ok_or_else(|| {
            let known: Vec<&str> = all.iter().map(|file| file.id.value.as_str()).collect();
            Failure::usage(
                format!("no defect is called `{id}`"),
                did_you_mean(id, &known, "`pilotage defects` lists all"),
            )
        })
}

fn say(table: &Table, context: &mut Context<'_>) {
    if context.json {
        context.output.json(&table.as_json());
        return;
    }
    for line in table.lines() {
        context.output.data(&harmless(&line));
    }
}

fn keep(table: &Table, folder: &Path, context: &mut Context<'_>) -> Result<(), Failure> {
    std::fs::create_dir_all(folder).map_err(|error| Failure::disk(folder, &error))?;
    for (name, text) in [
        ("challenge.json", format!("{:#}\n", table.as_json())),
        ("challenge.svg", svg(table)),
    ] {
        let path = folder.join(name);
        std::fs::write(&path, text).map_err(|error| Failure::disk(&path, &error))?;
        context.output.message(&format!("  {}", path.display()));
    }
    Ok(())
}
