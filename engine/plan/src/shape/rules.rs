//! Rules between the keys of one map.

use super::checked::{Checked, CheckedMap, formulas_of, texts_of};
use super::common::TOLERANCE_WORDS;
use super::item::{NAMEPLATE, plate_of};
use super::scalar::{dimension_of, placeholders_of, unit_dimension, value_of};
use super::table::{Record, Rule, SourceRule, name_of};
use crate::problem::{Problem, code, quoted};
use crate::source::Formula;
use pilotage_core::Dimension;

/// Runs the rules of a record over a map.
pub(super) fn run(record: &Record, map: &CheckedMap, problems: &mut Vec<Problem>) {
    for rule in record.rules {
        match rule {
            Rule::OneKey => one_key(record, map, problems),
            Rule::OneOf(keys) => {
                at_most_one(map, keys, problems);
                some_of(record, map, keys, problems);
            }
            Rule::AtMostOneOf(keys) => at_most_one(map, keys, problems),
            Rule::SomeOf(keys) => some_of(record, map, keys, problems),
            Rule::Needs(key, other) => needs(map, key, other, problems),
            Rule::Source(rule) => source(*rule, map, problems),
            Rule::ByKind => by_kind(map, problems),
            Rule::Never(why) => problems.push(why(map)),
            Rule::Check(_, check) => check(map, problems),
        }
    }
}

/// What the nameplate of this kind lacks, and what has no meaning on it.
fn by_kind(map: &CheckedMap, problems: &mut Vec<Problem>) {
    let Some(kind) = map.may_text("item") else { return };
    let (Some(wanted), Some(Checked::Map(plate))) = (plate_of(&kind.value), map.get("nameplate")) else {
        return;
    };
    let keys = |name: &&str| NAMEPLATE.key(name);
    for key in wanted.needs.iter().filter(|name| !plate.has(name)).filter_map(keys) {
        let message = format!("the key `{}` is missing in `nameplate` of `{}`", key.name, kind.value);
        problems.push(
            Problem::new(code::MISSING_KEY, &plate.span, message)
                .expected(format!("`{}`", key.name))
                .mend(format!(
                    "add `{}: {}` ({})",
                    key.name,
                    key.example,
                    key.describes.trim_end_matches('.')
                )),
        );
    }
    for name in &plate.present {
        if wanted.needs.iter().chain(wanted.may).any(|known| *known == name.value) {
            continue;
        }
        let message = format!("`{}` says nothing about `{}`", name.value, kind.value);
        let known: Vec<&str> = wanted.needs.iter().chain(wanted.may).copied().collect();
        problems.push(
            Problem::new(code::UNKNOWN_KEY, &name.span, message)
                .expected(format!("one of {}", known.join(", ")))
                .mend("delete it"),
        );
    }
}

fn one_key(record: &Record, map: &CheckedMap, problems: &mut Vec<Problem>) {
    let keys: Vec<&str> = record.all_keys().map(|k| k.name).collect();
    if map.present.is_empty() {
        some_of(record, map, &keys, problems);
    }
    if let [_, second, ..] = map.present.as_slice() {
        problems.push(
            Problem::new(
                code::EXCLUSIVE_KEYS,
                &second.span,
                format!("`{}` has more than one key", record.name),
            )
            .expected("exactly one key")
            .got(format!("{} as well", quoted(&second.value)))
            .mend("make each of them an entry of its own, with its `- `"),
        );
    }
}

fn at_most_one(map: &CheckedMap, keys: &[&str], problems: &mut Vec<Problem>) {
    let mut there = map.present.iter().filter(|k| keys.contains(&k.value.as_str()));
    if let (Some(first), Some(second)) = (there.next(), there.next()) {
        let message = format!("`{}` and `{}` exclude each other", first.value, second.value);
        let mend = if (first.value.as_str(), second.value.as_str()) == ("at_least", "at_most") {
            "write `between: [low, high]`"
        } else {
            "keep one of them"
        };
        problems.push(
            Problem::new(code::EXCLUSIVE_KEYS, &second.span, message)
                .expected(format!("one of {}", keys.join(", ")))
                .mend(mend),
        );
    }
}

fn some_of(record: &Record, map: &CheckedMap, keys: &[&str], problems: &mut Vec<Problem>) {
    if keys.iter().any(|k| map.has(k)) {
        return;
    }
    let example = keys
        .iter()
        .find_map(|k| record.key(k))
        .map_or(String::new(), |k| format!("{}: {}", k.name, k.example));
    problems.push(
        Problem::new(
            code::NO_FORM,
            &map.span,
            format!("`{}` has none of the keys of which it needs one", record.name),
        )
        .expected(format!("one of {}", keys.join(", ")))
        .mend(format!("add one of them, e.g. `{example}`")),
    );
}

fn needs(map: &CheckedMap, key: &str, other: &str, problems: &mut Vec<Problem>) {
    if map.has(key) && !map.has(other) {
        problems.push(
            Problem::new(code::KEY_NEEDS_KEY, map.place(key), format!("`{key}` needs `{other}`"))
                .expected(format!("`{other}` beside it"))
                .mend(format!("add `{other}`")),
        );
    }
}

fn source(rule: SourceRule, map: &CheckedMap, problems: &mut Vec<Problem>) {
    if !rule.when.is_empty() && !rule.when.iter().any(|k| map.has(k)) {
        return;
    }
    if !map.has("status") {
        problems.push(
            Problem::new(code::NO_STATUS, &map.span, "a demand stands here without saying how it is known")
                .expected("`status`")
                .mend("add `status: read`, restated, derived, common practice or from memory, and where the figure comes from"),
        );
        return;
    }
    let Some(status) = map.may_text("status") else { return };
    let missing: Vec<&str> = rule
        .demands(&status.value)
        .into_iter()
        .filter(|k| !map.has(k))
        .collect();
    if !missing.is_empty() {
        let message = format!("a limit of status `{}` does not name its source", status.value);
        problems.push(
            Problem::new(code::NO_SOURCE, &status.span, message)
                .expected(format!("`{}` beside it", missing.join("`, `")))
                .mend(format!(
                    "add {}, or `status: common practice` where there is no document",
                    missing.join(", ")
                )),
        );
    }
    if status.value == "derived" && !map.has("by") && !map.has("derivation") {
        problems.push(
            Problem::new(
                code::NO_SOURCE,
                &status.span,
                "a derived limit does not say how it was derived",
            )
            .expected("`by` beside it")
            .mend("add `by: \"…\"` with the calculation in words"),
        );
    }
}

/// The bounds of the tolerance in a map, as far as they fit.
fn bounds(map: &CheckedMap) -> Vec<Formula> {
    let mut all = Vec::new();
    for word in TOLERANCE_WORDS {
        match map.get(word) {
            Some(Checked::Formula(formula)) => all.push(formula.clone()),
            Some(Checked::List(items)) => all.extend(formulas_of(items)),
            Some(Checked::Map(within)) => all.extend(within.may_formula("of")),
            _ => {}
        }
    }
    all
}

/// Bounds have one dimension, and the lower one stands first.
pub(super) fn bounds_agree(map: &CheckedMap, problems: &mut Vec<Problem>) {
    alike(&bounds(map), problems);
    let [low, high] = &formulas_of(map.list("between"))[..] else {
        return;
    };
    let (Some(a), Some(b)) = (value_of(low), value_of(high)) else {
        return;
    };
    if a.dimension() == b.dimension() && a.si() > b.si() {
        problems.push(
            Problem::new(code::BOUNDS_TURNED, &low.span, "the lower bound is above the upper one")
                .expected("the lower bound first")
                .got(format!("[{}, {}]", low.expr.text(), high.expr.text()))
                .mend(format!("write [{}, {}]", high.expr.text(), low.expr.text())),
        );
    }
}

/// First and last value have one dimension.
pub(super) fn ends_agree(map: &CheckedMap, problems: &mut Vec<Problem>) {
    let ends: Vec<Formula> = ["from", "to"].iter().filter_map(|k| map.may_formula(k)).collect();
    alike(&ends, problems);
}

/// The width of a band is a difference of its middle's dimension, or a share.
pub(super) fn width_fits(map: &CheckedMap, problems: &mut Vec<Problem>) {
    let (Some(of), Some(by)) = (map.may_formula("of"), map.may_formula("by")) else {
        return;
    };
    if dimension_of(&by).is_some_and(|d| !d.is_none()) {
        alike(&[of, by], problems);
    }
}

fn alike(formulas: &[Formula], problems: &mut Vec<Problem>) {
    let mut known = formulas.iter().filter_map(|f| dimension_of(f).map(|d| (f, d)));
    let Some((first, wanted)) = known.next() else { return };
    for (formula, dimension) in known.filter(|(_, d)| *d != wanted) {
        mixed(
            formula,
            dimension,
            wanted,
            &format!("{} ", quoted(first.expr.text())),
            problems,
        );
    }
}

fn mixed(formula: &Formula, got: Dimension, wanted: Dimension, other: &str, problems: &mut Vec<Problem>) {
    let text = quoted(formula.expr.text());
    let message = format!("{text} is {}, but {other}is {}", name_of(got), name_of(wanted));
    problems.push(
        Problem::new(code::MIXED_DIMENSIONS, &formula.span, message)
            .expected(name_of(wanted))
            .got(name_of(got))
            .mend("give both the same kind of unit; look for a missing prefix or unit"),
    );
}

fn fits_unit(map: &CheckedMap, formulas: &[Formula], problems: &mut Vec<Problem>) {
    let Some(unit) = map.may_text("unit") else { return };
    let Some(wanted) = unit_dimension(&unit.value) else {
        return;
    };
    for formula in formulas {
        if let Some(got) = dimension_of(formula).filter(|d| *d != wanted) {
            mixed(
                formula,
                got,
                wanted,
                &format!("the unit {} ", quoted(&unit.value)),
                problems,
            );
        }
    }
}

/// Bounds have the dimension of the unit.
pub(super) fn bounds_fit_unit(map: &CheckedMap, problems: &mut Vec<Problem>) {
    fits_unit(map, &bounds(map), problems);
}

/// Read-back difference and offset have the dimension of the unit.
pub(super) fn amounts_fit_unit(map: &CheckedMap, problems: &mut Vec<Problem>) {
    let amounts: Vec<Formula> = ["confirm_within", "offset"]
        .iter()
        .filter_map(|k| map.may_formula(k))
        .collect();
    fits_unit(map, &amounts, problems);
}

/// Range, fixed error and resolution have the dimension of the unit.
pub(super) fn accuracy_fits_unit(map: &CheckedMap, problems: &mut Vec<Problem>) {
    let Some(accuracy) = map.may_map("accuracy") else {
        return;
    };
    // A range of 100 °C is a value; errors are differences. Both have the unit's dimension.
    let amounts: Vec<Formula> = ["range", "fixed", "resolution"]
        .iter()
        .filter_map(|k| accuracy.may_formula(k))
        .collect();
    fits_unit(map, &amounts, problems);
}

fn sends(map: &CheckedMap, list: &str, placeholder: &str, problems: &mut Vec<Problem>) {
    let texts = texts_of(map.list(list));
    if texts.is_empty() || texts.iter().any(|t| placeholders_of(&t.value).contains(&placeholder)) {
        return;
    }
    let message = format!("no message of `{list}` holds {{{placeholder}}}");
    problems.push(
        Problem::new(code::NO_PLACEHOLDER, &texts[0].span, message)
            .expected(format!("{{{placeholder}}} in one of the messages"))
            .mend(format!("put {{{placeholder}}} where the instrument wants the number")),
    );
}

/// A set point's value is sent.
pub(super) fn value_is_sent(map: &CheckedMap, problems: &mut Vec<Problem>) {
    sends(map, "send", "value", problems);
}

/// Rate and number of points are sent.
pub(super) fn capture_is_armed(map: &CheckedMap, problems: &mut Vec<Problem>) {
    sends(map, "arm", "rate", problems);
    sends(map, "arm", "points", problems);
}

/// Whether a person is told to do something, and not asked.
pub(crate) fn instructs(map: &CheckedMap) -> bool {
    map.may_text("answer").is_some_and(|answer| answer.value == "done")
}

fn asks_for_a_value(map: &CheckedMap) -> bool {
    map.may_map("answer").is_some_and(|form| form.has("quantity"))
}

/// The names by which an item file says what the virtual person answers begin so.
const PERSON: &str = "person_";

/// A parameter of the virtual item is a number.
pub(super) fn words_are_a_persons(map: &CheckedMap, problems: &mut Vec<Problem>) {
    for (name, value) in &map.rest {
        let Checked::Text(word) = value else { continue };
        if name.value.starts_with(PERSON) {
            continue;
        }
        problems.push(
            Problem::new(
                code::WRONG_SORT,
                &word.span,
                format!("`{}` is a parameter of the virtual item and wants a number", name.value),
            )
            .expected("a number with its unit")
            .got(quoted(&word.value))
            .mend(format!(
                "write a number; only names that begin with `{PERSON}` may hold a word"
            )),
        );
    }
}

/// Yes, no and words are exact.
pub(super) fn uncertainty_is_of_a_value(map: &CheckedMap, problems: &mut Vec<Problem>) {
    let Some(uncertainty) = map.may_formula("uncertainty").filter(|_| !asks_for_a_value(map)) else {
        return;
    };
    problems.push(
        Problem::new(
            code::KEY_NEEDS_KEY,
            &uncertainty.span,
            "`uncertainty` belongs to a value that is asked for; yes, no and words are exact",
        )
        .expected("no `uncertainty`, or `answer: {quantity: UNIT}`")
        .got(quoted(uncertainty.expr.text()))
        .mend("delete `uncertainty`, or ask for a quantity"),
    );
}

/// Yes/no and words judge: they need their source.
pub(super) fn answer_has_source(map: &CheckedMap, problems: &mut Vec<Problem>) {
    if let Some(status) = map.may_text("status").filter(|_| instructs(map)) {
        problems.push(
            Problem::new(
                code::EXCLUSIVE_KEYS,
                &status.span,
                "an instruction judges nothing, so it has no source",
            )
            .expected("no `status` beside `answer: done`")
            .got(quoted(&status.value))
            .mend("delete `status`, or ask a question with `answer: yes_no`"),
        );
    }
    if !asks_for_a_value(map) && !instructs(map) && map.has("answer") {
        source(
            SourceRule {
                when: &[],
                inherited: false,
            },
            map,
            problems,
        );
    }
}

/// Words that pass are among the choices.
pub(super) fn passes_are_choices(map: &CheckedMap, problems: &mut Vec<Problem>) {
    let choices = map.strings("choices");
    for pass in map.texts("passes").into_iter().filter(|p| !choices.contains(&p.value)) {
        problems.push(
            Problem::new(
                code::UNKNOWN_WORD,
                &pass.span,
                format!("{} is not one of the choices", quoted(&pass.value)),
            )
            .expected(choices.join(", "))
            .got(quoted(&pass.value))
            .mend("add it to `choices`, or delete it here"),
        );
    }
}
