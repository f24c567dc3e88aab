//! Tolerances, sources, words.

use crate::files::limits::ToleranceText;
use crate::files::sequence::{ConditionText, InlineSource, WantedText};
use crate::shape::checked::{Checked, CheckedMap, Lower, Mismatch, formulas_of};
use crate::shape::common::TOLERANCE_WORDS;
use crate::source::{Formula, Sp, Span};
use pilotage_core::Expr;
use pilotage_evidence::{ItemKind, Side, SignalWord, SourceStatus};

/// The tolerance in a map, where there is one.
pub(super) fn may_tolerance(map: &CheckedMap) -> Lower<Option<ToleranceText>> {
    let Some(word) = TOLERANCE_WORDS.iter().find(|w| map.has(w)) else {
        return Ok(None);
    };
    Ok(Some(match *word {
        "at_least" => ToleranceText::AtLeast(map.formula(word)?),
        "at_most" => ToleranceText::AtMost(map.formula(word)?),
        "between" => {
            let (low, high) = two(map, word)?;
            ToleranceText::Between(low, high)
        }
        "within" => {
            let within = map.map(word)?;
            ToleranceText::Within {
                of: within.formula("of")?,
                by: within.formula("by")?,
            }
        }
        _ => ToleranceText::AnyOf(formulas_of(map.list(word))),
    }))
}

/// The tolerance in a map.
pub(super) fn tolerance(map: &CheckedMap) -> Lower<ToleranceText> {
    may_tolerance(map)?.ok_or_else(|| Mismatch(map.span.clone(), "a tolerance".to_owned()))
}

/// A list of exactly two expressions.
pub(super) fn two(map: &CheckedMap, name: &str) -> Lower<(Formula, Formula)> {
    match &formulas_of(map.list(name))[..] {
        [low, high] => Ok((low.clone(), high.clone())),
        _ => Err(Mismatch(map.span.clone(), format!("two values of `{name}`"))),
    }
}

/// The source in a map that was found to have one.
pub(super) fn source(map: &CheckedMap) -> Lower<InlineSource> {
    Ok(InlineSource {
        status: status(map)?,
        standard: map.may_string("standard"),
        edition: map.may_string("edition"),
        clause: map.may_string("clause"),
        by: map.may_string("by"),
    })
}

/// The only free name with what is wanted of it.
pub(super) fn condition(map: &CheckedMap) -> Lower<ConditionText> {
    let (point, wanted) = map.only()?;
    let wanted = match wanted {
        Checked::Text(word) => WantedText::Word(word.clone()),
        other => WantedText::Number(tolerance(other.as_map(&point.span)?)?),
    };
    Ok(ConditionText {
        point: point.clone(),
        wanted,
    })
}

/// `at` as a share of `of`.
pub(super) fn share(at: &Formula, of: &Formula) -> Lower<Formula> {
    product(at, of).map_err(|text| Mismatch(at.span.clone(), format!("that `{text}` can be read")))
}

fn product(at: &Formula, of: &Formula) -> Result<Formula, String> {
    let share = at.expr.text().trim();
    let text = if share.ends_with('%') && at.expr.names().is_empty() {
        format!("{share} of ({})", of.expr.text())
    } else {
        format!("({share}) * ({})", of.expr.text())
    };
    match Expr::parse(&text) {
        Ok(expr) => Ok(Formula {
            expr,
            span: at.span.clone(),
        }),
        Err(_) => Err(text),
    }
}

fn no_such_word<T>(word: &Sp<String>) -> Lower<T> {
    Err(Mismatch(
        word.span.clone(),
        format!("another word than `{}`", word.value),
    ))
}

/// `status`
pub(super) fn status(map: &CheckedMap) -> Lower<SourceStatus> {
    let word = map.text("status")?;
    Ok(match word.value.as_str() {
        "read" => SourceStatus::Read,
        "restated" => SourceStatus::Restated,
        "derived" => SourceStatus::Derived,
        "common practice" => SourceStatus::CommonPractice,
        "from memory" => SourceStatus::FromMemory,
        _ => return no_such_word(&word),
    })
}

/// A side.
pub(super) fn side(word: &Sp<String>) -> Lower<Side> {
    Ok(match word.value.as_str() {
        "wall_unit" => Side::WallUnit,
        "vehicle" => Side::Vehicle,
        "cable_or_inlet" => Side::CableOrInlet,
        "installation" => Side::Installation,
        "settings" => Side::Settings,
        "pairing" => Side::Pairing,
        "bench" => Side::Bench,
        "not_decidable" => Side::NotDecidable,
        _ => return no_such_word(word),
    })
}

/// `side`, where there is one.
pub(super) fn may_side(map: &CheckedMap) -> Lower<Option<Side>> {
    map.may_text("side").as_ref().map(side).transpose()
}

/// `item`
pub(super) fn item_kind(map: &CheckedMap) -> Lower<Sp<ItemKind>> {
    let word = map.text("item")?;
    let value = match word.value.as_str() {
        "wall_unit" => ItemKind::WallUnit,
        "portable_cord" => ItemKind::PortableCord,
        "onboard_charger" => ItemKind::OnboardCharger,
        "inlet" => ItemKind::Inlet,
        "cable_assembly" => ItemKind::CableAssembly,
        "charging_session" => ItemKind::ChargingSession,
        "bench" => ItemKind::Bench,
        _ => return no_such_word(&word),
    };
    Ok(Sp { value, span: word.span })
}

/// `signal`
pub(super) fn signal(map: &CheckedMap) -> Lower<SignalWord> {
    let word = map.text("signal")?;
    Ok(match word.value.as_str() {
        "danger" => SignalWord::Danger,
        "warning" => SignalWord::Warning,
        "caution" => SignalWord::Caution,
        "notice" => SignalWord::Notice,
        _ => return no_such_word(&word),
    })
}

/// A whole number that its shape keeps small.
pub(super) fn small(map: &CheckedMap, name: &str, at: &Span) -> Lower<u32> {
    u32::try_from(map.count(name)?).map_err(|_| Mismatch(at.clone(), format!("a small `{name}`")))
}

/// Free names with expressions.
pub(super) fn named_formulas(map: &CheckedMap) -> Lower<Vec<(Sp<String>, Formula)>> {
    map.rest
        .iter()
        .map(|(name, value)| Ok((name.clone(), value.as_formula(&name.span)?)))
        .collect()
}
