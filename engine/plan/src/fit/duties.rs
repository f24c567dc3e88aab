//! What a sequence owes to people: interlocks, protections, cautions, a proven stop, and points that must be served.

use super::code;
use super::fitter::Fitter;
use super::make_safe::read_spec;
use super::points::{self, Holds, PointShape};
use super::reads::dimension_of;
use crate::contactor::StopOpens;
use crate::files::item::NameplateValue;
use crate::files::sequence::InterlockText;
use crate::kind::{DeadPlace, Line};
use crate::problem::Problem;
use crate::program::{Interlock, Protection};
use crate::source::{Formula, Sp, Span};
use pilotage_core::Dimension;
use std::time::Duration;

/// A proof of the stop is good for 12 h at most.
const STOP_PROOF: Duration = Duration::from_hours(12);
/// An interlock or a protection that is looked at less often than this guards nothing.
const INTERLOCK_EVERY: Duration = Duration::from_secs(1);
/// See [`INTERLOCK_EVERY`]; temperatures move slowly.
const PROTECTION_EVERY: Duration = Duration::from_secs(10);

impl Fitter<'_> {
    /// Refuses an item that the sequence does not take.
    pub(crate) fn check_accepts(&mut self) {
        for (name, text) in &self.request.sequence.accepts {
            let Some(value) = self.plate.constant(&name.value) else {
                self.missing_on_plate(name);
                continue;
            };
            let what = format!("what is accepted as `{}`", name.value);
            let Some(tolerance) = self.tolerance(text, value.dimension(), &what) else {
                continue;
            };
            if !super::tolerance::accepts(&tolerance, value) {
                let span = self.plate_span(&name.value);
                self.problems.add(
                    Problem::new(
                        code::NOT_ACCEPTED,
                        &span,
                        format!("the sequence does not take this `{}`", name.value),
                    )
                    .expected(format!(
                        "{} ({})",
                        super::tolerance::words(&tolerance),
                        name.span.place()
                    ))
                    .got(value.to_string())
                    .mend("choose another sequence, or correct the nameplate"),
                );
            }
        }
    }

    fn missing_on_plate(&mut self, name: &Sp<String>) {
        let mend = self.plate.nearest(&name.value).map_or_else(
            || format!("write `{}` into the item's nameplate", name.value),
            |near| {
                format!(
                    "write `{}` into the item's nameplate; or did the sequence mean `{near}`?",
                    name.value
                )
            },
        );
        self.problems.add(
            Problem::new(
                code::NAMEPLATE,
                &name.span,
                format!("the nameplate does not say `{}`", name.value),
            )
            .expected(format!("an amount `{}` on the nameplate", name.value))
            .got("nothing")
            .mend(mend),
        );
    }

    fn plate_span(&self, name: &str) -> Span {
        let line = self
            .request
            .item
            .nameplate
            .iter()
            .find(|(known, _)| known.value == name);
        match line {
            Some((_, NameplateValue::Amount(formula))) => formula.span.clone(),
            Some((known, NameplateValue::Word(_))) => known.span.clone(),
            None => self.request.item.title.span.clone(),
        }
    }

    /// Points without which the tool cannot keep people from harm. Where nothing on the bench can energise the item, only what
    /// the bench does serve must be whole.
    pub(crate) fn check_needed_points(&mut self) {
        let kind = self.request.sequence.item.value;
        let mut missing = Vec::new();
        let has_source = self.has_source();
        for shape in points::points_of(kind).filter(|shape| shape.needed) {
            for point in points::names_of(shape) {
                let bracket = points::point_of(kind, &point).and_then(|point| point.bracket);
                let wanted = has_source || !self.services.of(&point).is_empty();
                if wanted && bracket.is_none_or(|bracket| self.plate.has(bracket)) {
                    missing.extend(self.missing_service(shape, &point));
                }
            }
        }
        if has_source {
            missing.extend(self.unnamed());
            missing.extend(self.second_channel());
            missing.extend(self.missing_contactors());
        }
        if missing.is_empty() {
            return;
        }
        self.problems.add(
            Problem::new(
                code::NOT_SERVED,
                &self.request.bench.title.span,
                "the bench does not serve points that keep people from harm",
            )
            .expected(self.table.needs)
            .got(format!("missing: {}", missing.join(", ")))
            .mend("wire these points and name them in the bench file"),
        );
    }

    /// Keys of the bench file that its prompts and proofs need.
    fn unnamed(&self) -> Vec<String> {
        let bench = self.request.bench;
        let keys = [
            ("stop_name", bench.stop_name.is_some()),
            ("isolator_name", bench.isolator_name.is_some()),
            ("dead_burden", bench.dead_burden.is_some()),
        ];
        let absent = keys.into_iter().filter(|(_, there)| !there);
        absent.map(|(key, _)| format!("the key `{key}`")).collect()
    }

    /// What bleeds is watched by another instrument than the one that proves the output dead afterwards: a meter that hangs would else
    /// vouch for itself.
    fn second_channel(&self) -> Option<String> {
        let watched = self.table.make_safe.normal.iter().find_map(|line| match line {
            Line::BleedUntil { point, .. } => Some(*point),
            _ => None,
        })?;
        let by = |point: &str| Some(self.services.measure(point)?.0.text.by.value.as_str());
        let watcher = by(watched)?;
        let proves = |place: &DeadPlace| {
            let mut pairs = self.plate.pairs_of(place.pairs).iter();
            pairs.any(|pair| by(&format!("{}[{pair}].dc_voltage", place.at)) == Some(watcher))
        };
        let same = self.table.dead.iter().filter(|place| place.output).any(proves);
        same.then(|| format!("`{watched}` by another instrument than `{watcher}`, which proves the same place dead"))
    }

    /// Contactors that this bench needs for what it serves besides.
    fn missing_contactors(&mut self) -> Vec<String> {
        let kind = self.request.sequence.item.value;
        let mut missing = Vec::new();
        for contactor in self.table.contactors {
            let Some((with, why)) = contactor.with else { continue };
            let Some(found) = points::point_of(kind, contactor.point) else {
                continue;
            };
            if !self.services.of(with).is_empty()
                && let Some(lacking) = self.missing_service(found.shape, contactor.point)
            {
                missing.push(format!(
                    "{lacking}, since `{with}` {why} (leave that out where there is none)"
                ));
            }
        }
        missing
    }

    /// What the hard-wired stop opens on this bench.
    pub(crate) fn stop_opens(&self) -> Vec<StopOpens> {
        let there = self.table.contactors.iter();
        let there = there.filter(|contactor| self.services.answers(contactor.point).is_some());
        let opens = there.map(|contactor| StopOpens {
            contactor,
            shows: contactor
                .shows
                .filter(|point| self.services.measure(point).is_some())
                .map(|point| read_spec(self, point, point)),
        });
        opens.collect()
    }

    fn missing_service(&mut self, shape: &PointShape, point: &str) -> Option<String> {
        let Holds::Words(words) = shape.holds else {
            let Some((service, _)) = self.services.measure(point) else {
                return Some(format!("`{point}`"));
            };
            self.check_mains(shape, &service);
            return None;
        };
        // Of what the bench shows on the pilot, only what make safe uses must be there.
        let words = match point {
            "pilot_load" => &["state_A"][..],
            "pilot_source" => &["off", "steady"],
            _ => words,
        };
        let has = if shape.set {
            self.services.choices(point)
        } else {
            self.services.answers(point)
        };
        let Some(has) = has else {
            return Some(format!("`{point}`"));
        };
        let lacking: Vec<&str> = words.iter().copied().filter(|word| !has.contains(word)).collect();
        (!lacking.is_empty()).then(|| format!("`{point}` with {}", lacking.join(", ")))
    }

    /// The interlocks, and the largest age of the stop's proof.
    pub(crate) fn interlocks(&mut self) -> (Vec<Interlock>, Duration) {
        let mut interlocks = Vec::new();
        let mut proven_within = STOP_PROOF;
        for text in &self.request.sequence.interlocks {
            match text {
                InterlockText::Word { point, must_be, every } => {
                    interlocks.extend(self.interlock(point, must_be, every));
                }
                InterlockText::StopProof { proven_within: age, .. } => {
                    if let Some(age) = self.time_up_to(age, STOP_PROOF, "the age of the stop's proof") {
                        proven_within = proven_within.min(age);
                    }
                }
            }
        }
        (interlocks, proven_within)
    }

    fn interlock(&mut self, point: &Sp<String>, must_be: &Sp<String>, every: &Formula) -> Option<Interlock> {
        let every = self.time_up_to(every, INTERLOCK_EVERY, "the time between looks at an interlock");
        if !self.word_of_point(point, must_be) {
            return None;
        }
        self.watched(point);
        Some(Interlock {
            point: point.value.clone(),
            must_be: must_be.value.clone(),
            every: every?,
        })
    }

    /// The protections.
    pub(crate) fn protections(&mut self) -> Vec<Protection> {
        let mut protections = Vec::new();
        for text in &self.request.sequence.protect {
            let every = self.time_up_to(&text.every, PROTECTION_EVERY, "the time between looks at a protection");
            let Some((shape, unit)) = self.readable(&text.point) else {
                continue;
            };
            self.watched(&text.point);
            let Some(dimension) = dimension_of(shape) else {
                self.problems.add(super::orders::wrong_sort(
                    &text.point,
                    shape,
                    &text.point.span,
                    "a tolerance",
                ));
                continue;
            };
            let what = format!("the protection of `{}`", text.point.value);
            let tolerance = self.tolerance(&text.tolerance, dimension, &what);
            if let (Some(tolerance), Some(every)) = (tolerance, every) {
                protections.push(Protection {
                    point: text.point.value.clone(),
                    unit,
                    tolerance,
                    every,
                });
            }
        }
        protections
    }

    /// A guard that the bench cannot read is no guard.
    fn watched(&mut self, point: &Sp<String>) {
        let read = self.services.measure(&point.value).is_some() || self.services.answers(&point.value).is_some();
        if read {
            return;
        }
        self.problems.add(
            Problem::new(
                code::UNWATCHED,
                &point.span,
                format!("this bench cannot watch `{}`", point.value),
            )
            .expected("an instrument that reads it")
            .got("none in the bench file")
            .mend("serve the point, or choose a sequence that does not rely on it"),
        );
    }

    fn time_up_to(&mut self, formula: &Formula, most: Duration, what: &str) -> Option<Duration> {
        let time = self.time(formula, what)?;
        if time <= most {
            return Some(time);
        }
        let shown = pilotage_core::Quantity::new(most.as_secs_f64(), Dimension::TIME).map(|q| q.to_string());
        self.problems.add(
            Problem::new(code::TIME_RANGE, &formula.span, format!("{what} is too long"))
                .expected(format!("at most {}", shown.unwrap_or_default()))
                .got(format!("`{}`", formula.expr.text()))
                .mend("write a shorter time"),
        );
        None
    }

    /// Whoever energises must say what people have to know, watch the enclosure, have the stop proven, and stand behind a
    /// known protective device.
    pub(crate) fn check_energising(&mut self) {
        let Some(at) = self.energises_at.clone() else { return };
        let sequence = self.request.sequence;
        if sequence.cautions.is_empty() {
            self.problems.add(
                energises(code::NO_CAUTION, &at, "and no caution says what a person must know")
                    .expected("at least one entry of `cautions`")
                    .mend("write `cautions: [{signal: danger, text: \"…\"}]`"),
            );
        }
        let closed = sequence.interlocks.iter().any(|interlock| match interlock {
            InterlockText::Word { point, must_be, .. } => point.value == "enclosure" && must_be.value == "closed",
            InterlockText::StopProof { .. } => false,
        });
        if !closed {
            self.problems.add(
                energises(code::NO_ENCLOSURE, &at, "without the interlock of the enclosure")
                    .expected("`interlocks: {enclosure: {must_be: closed, every: 50 ms}}`")
                    .mend("add it"),
            );
        }
        if !sequence
            .interlocks
            .iter()
            .any(|interlock| matches!(interlock, InterlockText::StopProof { .. }))
        {
            self.problems.add(
                energises(code::NO_STOP_PROOF, &at, "without a proven hard-wired stop")
                    .expected("`interlocks: {hard_wired_stop: {proven_within: 12 h}}`")
                    .mend("add it"),
            );
        }
        if self.request.bench.supply_protected_by.is_none() {
            self.problems.add(
                Problem::new(
                    code::NO_PROTECTION,
                    &self.request.bench.title.span,
                    "the sequence energises, and the bench does not say behind which protective device",
                )
                .expected("`supply: {protected_by: …}` in the bench file")
                .got("nothing")
                .mend("name the residual current device in front of this bench"),
            );
        }
    }
}

fn energises(code: &'static str, at: &Span, how: &str) -> Problem {
    Problem::new(code, at, format!("the sequence energises here {how}")).got("nothing of the kind")
}
