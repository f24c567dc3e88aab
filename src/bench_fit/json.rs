//! What a bench can do with an item, as JSON (docs/fit.md says what each field is).

use super::BenchFit;
use super::limit_lines::reason;
use super::words::safe_act;
use pilotage_core::{Quantity, Tolerance};
use pilotage_plan::fit::{Decides, Fitness, Term};
use pilotage_plan::program::SafeAct;
use serde_json::{Value, json};

/// The whole.
pub fn json(fit: &BenchFit<'_>) -> Value {
    let program = &fit.fitted.program;
    let heading = &program.heading;
    let counts: serde_json::Map<String, Value> =
        [Decides::Yes, Decides::GuardBanded, Decides::OnlyWhenRead, Decides::No]
            .into_iter()
            .map(|decides| {
                let count = fit.counts().get(&decides).copied().unwrap_or(0);
                (decides.key().to_owned(), json!(count))
            })
            .collect();
    json!({
        "sequence": heading.title,
        "item": {"title": heading.item.title, "serial": heading.item.serial, "kind": heading.item.kind.word()},
        "bench": heading.bench.title,
        "limits_set": heading.limits.name,
        "decision_rule": heading.decision_rule,
        "counts": counts,
        "limits": fit.limits.iter().enumerate().map(|(at, limit)| self::limit(fit, at, limit)).collect::<Vec<_>>(),
        "left_out": fit.left_out.iter().map(|entry| json!({
            "step": entry.what, "title": entry.title, "why": entry.why, "by_sequence": entry.by_sequence, "would": entry.would,
        })).collect::<Vec<_>>(),
        "does_not_apply": program.steps.iter().filter_map(|step| {
            let why = step.skipped.as_ref()?;
            Some(json!({"step": step.head.id, "title": step.head.title, "why": why}))
        }).collect::<Vec<_>>(),
        "estimate_s": program.estimate.as_secs_f64(),
        "persons": fit.attendance.iter().map(|asked| json!({
            "step": asked.id, "after_s": asked.after.as_secs_f64(), "prompt": asked.prompt, "times": asked.times,
            "hands_at_item": asked.hands, "at_isolator": asked.at_isolator,
        })).collect::<Vec<_>>(),
        "make_safe": {
            "normal": words(&program.make_safe.normal),
            "emergency": words(&program.make_safe.emergency),
            "by_hand": program.make_safe.by_hand,
        },
        "hook_up": fit.hook_up,
    })
}

fn words(acts: &[SafeAct]) -> Vec<String> {
    acts.iter().map(safe_act).collect()
}

fn limit(fit: &BenchFit<'_>, at: usize, limit: &Fitness) -> Value {
    let si = |quantity: Option<Quantity>| quantity.map(Quantity::si);
    let mend = fit.mends.get(&at);
    json!({
        "step": limit.id,
        "step_number": limit.step,
        "reading": limit.name,
        "limit": limit.key,
        "title": limit.limit.title,
        "unit": limit.limit.unit,
        "bounds_si": bounds(&limit.limit.tolerance),
        "points": limit.points,
        "pass": limit.pass,
        "decides": limit.decides.key(),
        "expanded_si": si(limit.expanded),
        "at_least": limit.at_least(),
        "at_best_si": si(limit.at_best),
        "ratio": limit.ratio,
        "window_left": limit.left,
        "needs_si": si(limit.needs),
        "wanted_si": si(limit.wanted()),
        "terms": limit.terms.iter().map(term).collect::<Vec<_>>(),
        "why": if limit.decides == Decides::Yes { None } else { Some(reason(limit)) },
        "needed": mend.and_then(|mend| mend.needed.clone()),
        "would": mend.map(|mend| mend.would.clone()),
    })
}

fn bounds(tolerance: &Tolerance) -> Value {
    match tolerance {
        Tolerance::AtLeast(low) => json!({"at_least": low.si()}),
        Tolerance::AtMost(high) => json!({"at_most": high.si()}),
        Tolerance::Between(low, high) => json!({"at_least": low.si(), "at_most": high.si()}),
        Tolerance::AnyOf(choices) => json!({"any_of": choices.iter().map(|choice| choice.si()).collect::<Vec<_>>()}),
    }
}

fn term(term: &Term) -> Value {
    json!({
        "source": term.source, "what": term.what, "place": term.place, "relative": term.relative, "fixed_si": term.fixed,
        "by_instrument": term.by_instrument,
    })
}
