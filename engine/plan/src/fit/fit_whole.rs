//! The whole: checks first, then the walk, then the program, or every problem at once.

use super::fitter::Fitter;
use super::request::FitRequest;
use super::steps::Walked;
use super::{code, estimate, heading, make_safe};
use crate::kind::{KindTable, table_of};
use crate::problem::{Problem, in_order};
use crate::program::Program;

/// Fits a sequence to one item and one bench.
///
/// # Errors
/// Every problem of the files together, in order of place.
pub fn fit(request: FitRequest<'_>) -> Result<Program, Vec<Problem>> {
    let table = table_for(&request).map_err(|problem| vec![*problem])?;
    let mut fitter = Fitter::new(request, table);
    fitter.check_accepts();
    fitter.check_needed_points();
    fitter.check_make_safe();
    let (interlocks, stop_proven_within) = fitter.interlocks();
    let protections = fitter.protections();
    let mut walked = fitter.walk();
    fitter.check_energising();
    if fitter.problems.is_empty()
        && let Some(problem) = nothing_left(&fitter, &walked)
    {
        fitter.problems.add(problem);
    }
    if !fitter.problems.is_empty() {
        return Err(in_order(fitter.problems.into_vec()));
    }
    for step in &mut walked.steps {
        step.estimate = estimate::estimate(step, &fitter.services);
    }
    Ok(Program {
        heading: heading::heading(&fitter, &walked),
        constants: fitter.plate.constants.clone(),
        interlocks,
        stop_proven_within,
        stop_opens: fitter.stop_opens(),
        protections,
        hand_held: fitter.hand_held(),
        dead: make_safe::dead_plan(&fitter),
        make_safe: make_safe::make_safe_plan(&fitter),
        without_source: make_safe::without_source(&fitter),
        estimate: walked.steps.iter().map(|step| step.estimate).sum(),
        steps: walked.steps,
    })
}

/// A program without an act could not fail, so it is none.
fn nothing_left(fitter: &Fitter<'_>, walked: &Walked) -> Option<Problem> {
    if walked.steps.iter().any(|step| !step.acts.is_empty()) {
        return None;
    }
    let left_out = walked
        .not_tested
        .iter()
        .map(|step| format!("{}: {}", step.what, step.why));
    let skipped = walked.steps.iter().filter_map(|step| {
        let why = step.skipped.as_ref()?;
        Some(format!("{}: {why}", step.head.id))
    });
    let reasons: Vec<String> = left_out.chain(skipped).take(3).collect();
    Some(
        Problem::new(
            code::NOTHING_LEFT,
            &fitter.request.sequence.title.span,
            "nothing of this sequence can be tested on this item with this bench",
        )
        .expected("at least one step that the bench serves and that applies to the nameplate")
        .got(if reasons.is_empty() {
            "no step".to_owned()
        } else {
            reasons.join("; ")
        })
        .mend("serve the missing points on the bench, or choose another sequence"),
    )
}

fn table_for(request: &FitRequest<'_>) -> Result<&'static KindTable, Box<Problem>> {
    let (wanted, got) = (&request.sequence.item, &request.item.kind);
    if wanted.value != got.value {
        return Err(Box::new(
            Problem::new(code::OTHER_ITEM, &got.span, "the sequence tests another kind of item")
                .expected(format!(
                    "`item: {}`, as in {}",
                    wanted.value.word(),
                    wanted.span.place()
                ))
                .got(format!("`item: {}`", got.value.word()))
                .mend("choose another item or another sequence"),
        ));
    }
    table_of(wanted.value).ok_or_else(|| {
        Box::new(
            Problem::new(
                code::NO_POINTS,
                &wanted.span,
                format!("`{}` cannot be fitted yet", wanted.value.word()),
            )
            .expected("`wall_unit`, `onboard_charger`, `inlet` or `cable_assembly`")
            .got(format!("`{}`", wanted.value.word()))
            .mend("choose a sequence for one of these"),
        )
    })
}
