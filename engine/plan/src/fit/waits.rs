//! `wait_for` and `must_not`: a point watched against a word or a tolerance, for a time.

use super::code;
use super::fitter::Fitter;
use super::orders::Use;
use super::points::Holds;
use super::tolerance;
use crate::files::sequence::{ActForm, ConditionText, InlineSource, Latest, WantedText};
use crate::problem::Problem;
use crate::program::{Act, ActKind, Condition, MustNotSpec, WaitSpec, Wanted};
use crate::source::Span;
use pilotage_core::{Dimension, Quantity, Tolerance};
use pilotage_evidence::heading::LimitPlate;
use std::time::Duration;

impl Fitter<'_> {
    /// A point against a tolerance or a word.
    pub(crate) fn condition(&mut self, text: &ConditionText) -> Option<Condition> {
        match &text.wanted {
            WantedText::Word(word) => {
                if !self.word_of_point(&text.point, word) {
                    return None;
                }
                self.readable(&text.point)?;
                let wanted = Wanted::Word(word.value.clone());
                Some(Condition {
                    point: text.point.value.clone(),
                    unit: String::new(),
                    wanted,
                })
            }
            WantedText::Number(tolerance) => {
                let shape = self.point(&text.point, Use::Read)?;
                let Holds::Amount(dimension) = shape.holds else {
                    self.problems.add(super::orders::wrong_sort(
                        &text.point,
                        shape,
                        &text.point.span,
                        "a number",
                    ));
                    return None;
                };
                let (_, unit) = self.readable(&text.point)?;
                let what = format!("the bound for `{}`", text.point.value);
                let wanted = Wanted::Number(self.tolerance(tolerance, dimension, &what)?);
                Some(Condition {
                    point: text.point.value.clone(),
                    unit,
                    wanted,
                })
            }
        }
    }

    /// `wait_for`: its time becomes a reading, its deadline a limit on that time.
    pub(crate) fn wait_for(&mut self, form: &ActForm, span: &Span) -> Option<Act> {
        let ActForm::WaitFor {
            condition,
            every,
            latest: latest_text,
            name,
            otherwise,
        } = form
        else {
            return None;
        };
        let wanted = self.condition(condition);
        let every = self.time(every, "`every` of `wait_for`");
        let latest = self.latest(latest_text);
        let reading = name
            .as_ref()
            .map_or_else(|| plain_name("wait", &condition.point.value), |n| n.value.clone());
        self.define(
            &reading,
            Some(Dimension::TIME),
            "s",
            name.as_ref().map_or(span, |name| &name.span),
        );
        let (wanted, every, (latest, of_set)) = (wanted?, every?, latest?);
        match latest_text {
            Latest::Deadline(deadline, _) => self.not_longer(every, latest, deadline, "wait_for"),
            Latest::Limit(_) => {}
        }
        self.pass_time(latest, span);
        let title = format!("{} within {} s", condition_words(&wanted), latest.as_secs_f64());
        let at_most = Tolerance::AtMost(seconds(latest)?);
        let limit = match (of_set, latest_text) {
            (None, Latest::Deadline(_, source)) => plate(title, at_most, "s", source, span),
            (of_set, _) => of_set?,
        };
        let spec = WaitSpec {
            condition: wanted,
            every,
            deadline: latest,
            name: reading,
            limit,
            inconclusive: otherwise.inconclusive,
            side: otherwise.side,
            says: otherwise.says.clone(),
        };
        Some(self.plain(ActKind::WaitFor(spec), span))
    }

    /// The latest moment, with the limit of the set where it is one.
    fn latest(&mut self, latest: &Latest) -> Option<(Duration, Option<LimitPlate>)> {
        let key = match latest {
            Latest::Deadline(deadline, _) => return Some((self.time(deadline, "the deadline of `wait_for`")?, None)),
            Latest::Limit(key) => key,
        };
        let (plate, _) = self.limit_of_set(key, Dimension::TIME)?;
        let bound = match &plate.tolerance {
            Tolerance::AtMost(bound) | Tolerance::Between(_, bound) => Duration::try_from_secs_f64(bound.si()).ok(),
            _ => None,
        };
        if bound.is_none_or(|bound| bound.is_zero()) {
            self.problems.add(
                Problem::new(code::TIME_RANGE, &key.span, format!("`{}` is no deadline", key.value))
                    .expected("a limit with an upper bound that is known before the run")
                    .got(tolerance::words(&plate.tolerance))
                    .mend("write `deadline` with its source instead"),
            );
            return None;
        }
        Some((bound?, Some(plate)))
    }

    /// `must_not`: the number of looks that saw it becomes a reading, at most 0 its limit.
    pub(crate) fn must_not(&mut self, form: &ActForm, span: &Span) -> Option<Act> {
        let ActForm::MustNot {
            condition,
            length,
            every,
            means,
            source,
        } = form
        else {
            return None;
        };
        let unwanted = self.condition(condition);
        let every = self.time(every, "`every` of `must_not`");
        let time = self.time(length, "`for` of `must_not`");
        let name = plain_name("seen", &condition.point.value);
        self.define(&name, Some(Dimension::NONE), "", span);
        let (unwanted, every, time) = (unwanted?, every?, time?);
        self.not_longer(every, time, length, "must_not");
        self.pass_time(time, span);
        let never = Tolerance::AtMost(Quantity::new(0.0, Dimension::NONE).ok()?);
        let because = means.as_ref().map(|means| format!(" ({means})")).unwrap_or_default();
        let title = format!(
            "never {} for {} s{because}",
            condition_words(&unwanted),
            time.as_secs_f64()
        );
        let spec = MustNotSpec {
            condition: unwanted,
            length: time,
            every,
            name,
            limit: plate(title, never, "", source, span),
        };
        Some(self.plain(ActKind::MustNot(spec), span))
    }
}

fn condition_words(condition: &Condition) -> String {
    match &condition.wanted {
        Wanted::Word(word) => format!("{} {word}", condition.point),
        Wanted::Number(tolerance) => format!("{} {}", condition.point, tolerance::words(tolerance)),
    }
}

fn seconds(duration: Duration) -> Option<Quantity> {
    Quantity::new(duration.as_secs_f64(), Dimension::TIME).ok()
}

/// A name for a reading that the author did not name: `wait_pilot_low`.
fn plain_name(prefix: &str, point: &str) -> String {
    let letters: String = point
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c } else { '_' })
        .collect();
    let words: Vec<&str> = letters.split('_').filter(|word| !word.is_empty()).collect();
    format!("{prefix}_{}", words.join("_"))
}

/// A limit that is written in the sequence itself.
pub(crate) fn plate(title: String, tolerance: Tolerance, unit: &str, source: &InlineSource, span: &Span) -> LimitPlate {
    LimitPlate {
        key: "inline".to_owned(),
        title,
        place: span.place(),
        standard: source.standard.clone().unwrap_or_default(),
        edition: source.edition.clone().unwrap_or_default(),
        clause: source.clause.clone().unwrap_or_default(),
        status: source.status,
        by: source.by.clone(),
        tolerance,
        bounds: Vec::new(),
        unit: unit.to_owned(),
    }
}
