//! Sweeps, ramps and passes made flat: every value is a number before the run.

use super::acts::name_taken;
use super::code;
use super::fitter::Fitter;
use super::orders::Use;
use super::pictures::{Variable, written_unit};
use super::reads::dimension_of;
use crate::files::sequence::{ActForm, ActText, ForEach, StepText};
use crate::problem::Problem;
use crate::program::{Act, ActKind};
use crate::source::{Formula, Sp, Span};
use pilotage_core::{Dimension, Quantity, Unit, format};
use std::collections::BTreeMap;
use std::time::Duration;

/// One pass of a step.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Pass {
    /// Labels, outermost first.
    pub(crate) labels: Vec<String>,
    /// Values of the `for_each` names.
    pub(crate) constants: BTreeMap<String, Quantity>,
}

impl Fitter<'_> {
    /// The passes of a step: every value of `for_each`, each as often as `repeat` says.
    pub(crate) fn passes(&mut self, step: &StepText) -> Vec<Pass> {
        let values = self.values_of(step);
        let times = step.repeat.map_or(1, |repeat| repeat.times);
        let mut passes = Vec::new();
        for value in values {
            for round in 1..=times {
                let mut pass = value.clone();
                if step.repeat.is_some() {
                    pass.labels.push(format!("{round} of {times}"));
                }
                passes.push(pass);
            }
        }
        passes
    }

    /// Every combination of the values of `for_each`, the first name changing least often.
    fn values_of(&mut self, step: &StepText) -> Vec<Pass> {
        let mut passes = vec![Pass::default()];
        for for_each in &step.for_each {
            let values = self.values_of_name(for_each);
            let with = |outer: &Pass, inner: &Pass| Pass {
                labels: [outer.labels.clone(), inner.labels.clone()].concat(),
                constants: outer
                    .constants
                    .clone()
                    .into_iter()
                    .chain(inner.constants.clone())
                    .collect(),
            };
            passes = passes
                .iter()
                .flat_map(|outer| values.iter().map(move |inner| with(outer, inner)))
                .collect();
        }
        passes
    }

    fn values_of_name(&mut self, for_each: &ForEach) -> Vec<Pass> {
        let name = &for_each.name;
        if self.constant(&name.value).is_some() {
            self.problems.add(name_taken(&name.value, &name.span));
        }
        let mut dimension = None;
        let mut passes = Vec::new();
        let (mut unit, mut all) = (String::new(), Vec::new());
        for formula in &for_each.values {
            let Some(value) = self.value(formula, "a value of `for_each`") else {
                continue;
            };
            let wanted = *dimension.get_or_insert_with(|| {
                unit = written_unit(formula.expr.text(), value.dimension());
                value.dimension()
            });
            if self.same_dimension(value.dimension(), wanted, formula, "a value of `for_each`") {
                // A pure number has many units (1, %, °), a temperature two scales: people see the one that was written.
                let scale = Unit::find(&unit).filter(Unit::is_affine);
                let shown = match scale {
                    Some(scale) => format::in_unit(value, scale, 5),
                    None if value.dimension().is_none() => formula.expr.text().to_owned(),
                    None => value.to_string(),
                };
                all.push(value);
                passes.push(Pass {
                    labels: vec![format!("{} = {shown}", name.value)],
                    constants: BTreeMap::from([(name.value.clone(), value)]),
                });
            }
        }
        self.step
            .variables
            .insert(name.value.clone(), Variable { unit, values: all });
        passes
    }

    /// `sweep`: at each value set, wait, act. On the way back the last value is set and read once more, so that each way
    /// is complete in itself.
    pub(crate) fn sweep(&mut self, form: &ActForm, span: &Span, out: &mut Vec<Act>) {
        let ActForm::Sweep {
            point,
            from,
            to,
            points,
            logarithmic,
            and_back,
            name,
            dwell,
            acts,
        } = form
        else {
            return;
        };
        let Some(dimension) = self.swept_point(point) else {
            return;
        };
        let from_value = self.number(from, dimension, "the first value of a sweep");
        let to_value = self.number(to, dimension, "the last value of a sweep");
        let dwell = self.dwell(dwell);
        let (Some(from_value), Some(to_value)) = (from_value, to_value) else {
            return;
        };
        let Some(there) = self.spaced((from_value, to_value), *points, *logarithmic, &from.span) else {
            return;
        };
        if self.constant(&name.value).is_some() {
            self.problems.add(name_taken(&name.value, &name.span));
            return;
        }
        self.step.sweeping = Some(std::collections::BTreeSet::from([name.value.clone()]));
        let unit = self
            .services
            .amount(&point.value)
            .map_or_else(String::new, |(unit, _)| unit.value.clone());
        self.define(&name.value, Some(dimension), &unit, &name.span);
        let values = there.clone();
        self.step
            .variables
            .insert(name.value.clone(), Variable { unit, values });
        for value in &there {
            self.sweep_point((point, *value, ""), name, (dwell, acts), (span, out));
        }
        if *and_back {
            for value in there.iter().rev() {
                self.sweep_point((point, *value, ", back"), name, (dwell, acts), (span, out));
            }
        }
        self.step.sweep = self.step.sweeping.take();
    }

    fn swept_point(&mut self, point: &Sp<String>) -> Option<Dimension> {
        let shape = self.point(point, Use::Set)?;
        let dimension = dimension_of(shape);
        if dimension.is_none() {
            self.problems
                .add(super::orders::wrong_sort(point, shape, &point.span, &point.value));
        }
        dimension
    }

    /// A wait of 0 s is no wait.
    fn dwell(&mut self, formula: &Formula) -> Option<Duration> {
        let quantity = self.number(formula, Dimension::TIME, "the wait of a sweep")?;
        if quantity.si() == 0.0 {
            None
        } else {
            self.time(formula, "the wait of a sweep")
        }
    }

    fn sweep_point(
        &mut self,
        (point, value, way): (&Sp<String>, Quantity, &str),
        name: &Sp<String>,
        (dwell, acts): (Option<Duration>, &[ActText]),
        (span, out): (&Span, &mut Vec<Act>),
    ) {
        self.labels.push(format!("{} = {value}{way}", name.value));
        self.pass.insert(name.value.clone(), value);
        let setting = self.amount(point, value);
        out.extend(self.order(point, setting, Some(name.value.clone()), span));
        if let Some(dwell) = dwell {
            self.pass_time(dwell, span);
            out.push(self.plain(ActKind::Hold(dwell), span));
        }
        self.acts(acts, out);
        self.pass.remove(&name.value);
        self.labels.pop();
    }

    /// `ramp`: `steps` equal steps from the first value to the last, the time shared among them.
    pub(crate) fn ramp(&mut self, form: &ActForm, span: &Span, out: &mut Vec<Act>) {
        let ActForm::Ramp {
            point,
            from,
            to,
            over,
            steps,
        } = form
        else {
            return;
        };
        let Some(dimension) = self.swept_point(point) else {
            return;
        };
        let from_value = self.number(from, dimension, "the first value of a ramp");
        let to_value = self.number(to, dimension, "the last value of a ramp");
        let over = self.time(over, "the time of a ramp");
        let (Some(from_value), Some(to_value), Some(over)) = (from_value, to_value, over) else {
            return;
        };
        let ends = (from_value, to_value);
        let Some(values) = self.spaced(ends, steps.saturating_add(1), false, &from.span) else {
            return;
        };
        let pause = over / (*steps).max(1);
        for (index, value) in values.into_iter().enumerate() {
            if index > 0 {
                self.pass_time(pause, span);
                out.push(self.plain(ActKind::Hold(pause), span));
            }
            let setting = self.amount(point, value);
            out.extend(self.order(point, setting, None, span));
        }
    }

    fn spaced(
        &mut self,
        (from, to): (Quantity, Quantity),
        points: u32,
        logarithmic: bool,
        span: &Span,
    ) -> Option<Vec<Quantity>> {
        let spaced = spacing(from, to, points, logarithmic);
        if spaced.is_none() {
            let (expected, got) = if points < 2 {
                ("at least two values".to_owned(), format!("{points}"))
            } else {
                (
                    "two values of one sign, neither of them 0".to_owned(),
                    format!("{from} to {to}"),
                )
            };
            self.problems.add(
                Problem::new(code::SPACING, span, "the values cannot be spaced in this way")
                    .expected(expected)
                    .got(got)
                    .mend("change the ends, or write `spacing: linear`"),
            );
        }
        spaced
    }
}

/// Values from the first to the last, both included exactly. Those between are rounded (four digits where the spacing is
/// logarithmic, nine where it is linear): a bench sets round values, and records stay free of binary dust.
pub(crate) fn spacing(from: Quantity, to: Quantity, points: u32, logarithmic: bool) -> Option<Vec<Quantity>> {
    let same_sign = from.si() * to.si() > 0.0;
    if points < 2 || (logarithmic && !same_sign) {
        return None;
    }
    let last = points - 1;
    (0..points)
        .map(|index| match index {
            0 => Some(from),
            _ if index == last => Some(to),
            _ => between(from, to, f64::from(index) / f64::from(last), logarithmic),
        })
        .collect()
}

fn between(from: Quantity, to: Quantity, share: f64, logarithmic: bool) -> Option<Quantity> {
    let (si, text) = if logarithmic {
        let si = from.si() * libm::pow(to.si() / from.si(), share);
        (si, format!("{si:.3e}"))
    } else {
        let si = from.si() + (to.si() - from.si()) * share;
        (si, format!("{si:.8e}"))
    };
    Quantity::new(text.parse().unwrap_or(si), from.dimension()).ok()
}
