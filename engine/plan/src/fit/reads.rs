//! `read`: who reads a point, in which unit, and when it may be read.

use super::code;
use super::fitter::Fitter;
use super::orders::Use;
use super::points::{Holds, PointShape};
use super::services::Service;
use crate::problem::Problem;
use crate::program::{Act, ActKind, ReadSpec};
use crate::source::{Sp, Span};
use pilotage_core::{Dimension, Unit};
use pilotage_evidence::EnergyState;

impl Fitter<'_> {
    /// `read: {name: point, …}`
    pub(crate) fn read(&mut self, entries: &[(Sp<String>, Sp<String>)], span: &Span) -> Option<Act> {
        let specs = self.read_specs(entries);
        (!specs.is_empty()).then(|| self.plain(ActKind::Read(specs), span))
    }

    /// Who reads what, under which name.
    pub(crate) fn read_specs(&mut self, entries: &[(Sp<String>, Sp<String>)]) -> Vec<ReadSpec> {
        let mut specs = Vec::new();
        for (name, point) in entries {
            if let Some((shape, unit)) = self.readable(point) {
                let dimension = dimension_of(shape);
                self.define(&name.value, dimension, &unit, &name.span);
                specs.push(ReadSpec {
                    name: name.value.clone(),
                    point: point.value.clone(),
                    unit,
                });
            }
        }
        specs
    }

    /// A point that may be read now, with the unit to print in (empty for a word).
    pub(crate) fn readable(&mut self, point: &Sp<String>) -> Option<(&'static PointShape, String)> {
        let shape = self.point(point, Use::Read)?;
        self.check_when_read(point, shape);
        Some((shape, self.read_service(point, shape)))
    }

    fn read_service(&mut self, point: &Sp<String>, shape: &PointShape) -> String {
        let Holds::Amount(dimension) = shape.holds else {
            if self.services.answers(&point.value).is_none() {
                self.step
                    .not_served(format!("this bench cannot read `{}`", point.value));
            }
            return String::new();
        };
        if let Some((service, measure)) = self.services.measure(&point.value) {
            self.check_mains(shape, &service);
            return measure.unit.value.clone();
        }
        self.step
            .not_served(format!("this bench cannot read `{}`", point.value));
        Unit::coherent(dimension).map_or("", |unit| unit.symbol).to_owned()
    }

    /// A single-ended connection to mains puts mains on the instrument's ground.
    pub(crate) fn check_mains(&mut self, shape: &PointShape, service: &Service<'_>) {
        if !shape.mains {
            return;
        }
        let connected = service.text.connected.as_ref().map(|word| word.value.as_str());
        if matches!(connected, Some("differential" | "isolated")) {
            return;
        }
        self.problems.add(
            Problem::new(
                code::BARE_MAINS,
                &service.text.span,
                format!(
                    "`{}` carries mains and is connected neither differential nor isolated",
                    service.text.point.value
                ),
            )
            .expected("`connected: differential` or `connected: isolated`")
            .got(connected.map_or("nothing".to_owned(), |word| format!("`connected: {word}`")))
            .mend("connect it through a differential or isolated input, then say so in the bench file"),
        );
    }

    fn check_when_read(&mut self, point: &Sp<String>, shape: &PointShape) {
        if shape.isolated_only && self.energy() != EnergyState::Isolated {
            self.refuse(
                Problem::new(
                    code::NOT_ISOLATED,
                    &point.span,
                    format!("`{}` is read while not isolated", point.value),
                )
                .expected("*isolated*: supply off, proven dead, isolator locked")
                .got(super::acts::energy_words(self.energy()))
                .mend("put `isolate: {}` before it, or move it before the first `supply: on`"),
            );
        }
        let own = [
            "pilot_load.resistance",
            "pilot_load.path_resistance",
            "pilot_load.diode_drop",
            "pilot_source.path_resistance",
            "pilot_source.open_voltage",
        ];
        if own.contains(&point.value.as_str()) && !self.now.bench.pilot_checked {
            self.refuse(
                Problem::new(
                    code::NOT_CHECKING,
                    &point.span,
                    format!(
                        "the bench's own {} is read while the item is on it",
                        own_part(&point.value)
                    ),
                )
                .expected(format!("`set: {{{}: check}}` before it", pilot_of(&point.value)))
                .got(format!("the {} connected to the item", own_part(&point.value)))
                .mend(format!("put `set: {{{}: check}}` before it", pilot_of(&point.value))),
            );
        }
    }
}

/// `pilot_load` of `pilot_load.resistance`.
fn pilot_of(point: &str) -> &str {
    point.split('.').next().unwrap_or(point)
}

/// What that is called in sentences.
fn own_part(point: &str) -> &'static str {
    if pilot_of(point) == "pilot_source" {
        "pilot source"
    } else {
        "pilot load"
    }
}

/// The dimension of what a point holds; `None` for words.
pub(crate) fn dimension_of(shape: &PointShape) -> Option<Dimension> {
    match shape.holds {
        Holds::Amount(dimension) => Some(dimension),
        Holds::Words(_) => None,
    }
}
