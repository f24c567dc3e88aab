//! What the bench can decide, worked out before anything is plugged in: for each limit the expanded uncertainty (k = 2)
//! that drivers, sampling and polling bring at the limit's bound, where the decision falls, against the width of the tolerance.

use super::accuracy::Term;
use super::budget::walk;
use super::points::point_of;
use super::window::Decides;
use super::{names, window};
use crate::files::bench::{BenchFile, ServiceText};
use crate::files::driver::{DriverFile, FunctionForm, FunctionText};
use crate::program::Program;
use crate::source::Sp;
use pilotage_core::{Dimension, Quantity, Unit};
use pilotage_evidence::ItemKind;
use pilotage_evidence::heading::LimitPlate;
use std::collections::BTreeMap;

/// One limit of one reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitness {
    /// Position of the step in the program.
    pub step: u32,
    /// Its id.
    pub id: String,
    /// The reading.
    pub name: String,
    /// The pass that is told, where there are several: the least fit one.
    pub pass: Option<String>,
    /// Key of the limit.
    pub key: String,
    /// The limit.
    pub limit: LimitPlate,
    /// The points that the reading is taken at; none where a person gives it.
    pub points: Vec<String>,
    /// Expanded uncertainty (k = 2) at the bound; `None` where it is not known before the run.
    pub expanded: Option<Quantity>,
    /// The same with instruments that add nothing: what sampling, smoothing and polling leave.
    pub at_best: Option<Quantity>,
    /// Half the width of the tolerance, or its only bound; `None` where there is no width.
    pub half_width: Option<Quantity>,
    /// Half width over expanded uncertainty.
    pub ratio: Option<f64>,
    /// Share of the window that guard bands leave; `None` where the window is open to one side, or nothing is known.
    pub left: Option<f64>,
    /// Largest expanded uncertainty that the step allows, where it says one.
    pub needs: Option<Quantity>,
    /// Whether the bench meets what the step needs; true where it says nothing, false where it is not known.
    pub decidable: bool,
    /// What the bench can say about this limit.
    pub decides: Decides,
    /// What the uncertainty is made of, the largest first. Of a computed reading, at this bound.
    pub terms: Vec<Term>,
    /// Why nothing is known before the run.
    pub unknown: Option<String>,
    /// In words.
    pub says: String,
}

impl Fitness {
    /// The largest term at the bound, with its share of the variance.
    pub fn dominating(&self) -> Option<(&Term, f64)> {
        let at = window::some_bound(&self.limit.tolerance)?.si();
        let total: f64 = self.terms.iter().map(|term| term.standard_at(at).powi(2)).sum();
        let first = self.terms.first().filter(|_| total > 0.0)?;
        Some((first, first.standard_at(at).powi(2) / total))
    }

    /// Whether more will come in the run than can be said before it.
    pub fn at_least(&self) -> bool {
        self.terms.iter().any(Term::is_nothing)
    }

    /// The expanded uncertainty (k = 2) from which on this limit would be decided.
    pub fn wanted(&self) -> Option<Quantity> {
        let of_window = self
            .half_width
            .and_then(|half| Quantity::new(half.si() / window::DECIDES_FROM, half.dimension()).ok());
        match (of_window, self.needs) {
            (Some(window), Some(needs)) => Some(if needs.si() < window.si() { needs } else { window }),
            (one, other) => one.or(other),
        }
    }

    /// What an instrument may add at most (k = 2) where the whole is to reach [`Self::wanted`]; `None` where sampling and
    /// smoothing alone are too much already.
    pub fn instrument_may_add(&self) -> Option<Quantity> {
        let (wanted, best) = (self.wanted()?, self.at_best?);
        let left = wanted.si() * wanted.si() - best.si() * best.si();
        (left > 0.0).then(|| Quantity::new(left.sqrt(), wanted.dimension()).ok())?
    }
}

/// Fitness of every judged limit, each once: of several passes the least fit one.
pub fn fitness(program: &Program, bench: &BenchFile, drivers: &BTreeMap<String, DriverFile>) -> Vec<Fitness> {
    let mut found = walk(program, bench, drivers, false);
    let ideal = walk(program, bench, drivers, true);
    for (fitness, ideal) in found.iter_mut().zip(ideal) {
        fitness.at_best = ideal.expanded;
    }
    found
}

/// The instruments and functions by which a limit would be as `wanted`: each of these drivers tried at the reading's points,
/// at all that stand on one line of the table of points together. In words, an instrument of this bench by its name.
///
/// Only a function that measures the same is tried: of the name that serves the point now, or that this bench uses for a
/// point of the same line of the table, and with a range that holds the bound. An accuracy for DC says nothing about AC.
pub fn would_decide(
    program: &Program,
    bench: &BenchFile,
    drivers: &BTreeMap<String, DriverFile>,
    fitness: &Fitness,
    wanted: &dyn Fn(&Fitness) -> bool,
) -> Vec<String> {
    let kind = program.heading.item.kind;
    let decides = |other: &BenchFile| {
        walk(program, other, drivers, false)
            .iter()
            .any(|new| (new.step, &new.name, &new.key) == (fitness.step, &fitness.name, &fitness.key) && wanted(new))
    };
    let mut found = Vec::new();
    for points in by_pattern(kind, &fitness.points) {
        for driver in drivers.values() {
            let functions = driver.functions.iter();
            let same =
                functions.filter(|function| measures_the_same(kind, bench, points[0], (driver, function), fitness));
            for function in same {
                let served = served_by(bench, &points, driver, &function.name).filter(|(other, _)| decides(other));
                found.extend(served.map(|(_, instrument)| {
                    format!("{instrument}, `{}` at `{}`", function.name.value, points.join("`, `"))
                }));
            }
        }
    }
    found
}

/// Points that stand on one line of the table, together.
fn by_pattern(kind: ItemKind, points: &[String]) -> Vec<Vec<&str>> {
    let mut groups: BTreeMap<Option<&str>, Vec<&str>> = BTreeMap::new();
    for point in points {
        let pattern = point_of(kind, point).map(|found| found.shape.pattern);
        groups.entry(pattern).or_default().push(point);
    }
    groups.into_values().collect()
}

fn measures_the_same(
    kind: ItemKind,
    bench: &BenchFile,
    point: &str,
    (driver, function): (&DriverFile, &FunctionText),
    fitness: &Fitness,
) -> bool {
    let pattern = |point: &str| point_of(kind, point).map(|found| found.shape.pattern);
    let driver_of = |service: &ServiceText| {
        let own = bench.instruments.iter().find(|own| own.name.value == service.by.value);
        own.map(|own| own.driver.value.as_str())
    };
    let named_alike = bench.points.iter().any(|service| {
        let here = service.point.value == point;
        let alike =
            here || (pattern(&service.point.value) == pattern(point) && driver_of(service) == Some(&driver.name.value));
        alike && service.function.value == function.name.value
    });
    named_alike && holds(function, fitness)
}

/// Whether a function is for values such as the limit's bound.
fn holds(function: &FunctionText, fitness: &Fitness) -> bool {
    let FunctionForm::Measure(text) = &function.form else {
        return matches!(function.form, FunctionForm::Capture(_));
    };
    let Some(bound) = window::some_bound(&fitness.limit.tolerance) else {
        return false;
    };
    let unit = Unit::find(&text.unit.value).map_or(Dimension::NONE, |unit| unit.dimension);
    let range = text.accuracy.as_ref().and_then(|accuracy| accuracy.range.as_ref());
    let range = range.and_then(|range| names::constant(range).ok());
    // A computed reading may have another dimension than what goes into it.
    unit != bound.dimension() || range.is_none_or(|range| bound.si().abs() <= range.si())
}

/// The bench with points served by a function of a driver, and the instrument in words.
fn served_by(
    bench: &BenchFile,
    points: &[&str],
    driver: &DriverFile,
    function: &Sp<String>,
) -> Option<(BenchFile, String)> {
    let mut other = bench.clone();
    let own = bench
        .instruments
        .iter()
        .find(|instrument| instrument.driver.value == driver.name.value);
    let by = if let Some(own) = own {
        own.name.clone()
    } else {
        let mut borrowed = bench.instruments.first()?.clone();
        borrowed.name.value = format!("an instrument with the driver `{}`", driver.name.value);
        borrowed.driver.value.clone_from(&driver.name.value);
        other.instruments.push(borrowed.clone());
        borrowed.name
    };
    for service in other
        .points
        .iter_mut()
        .filter(|service| points.contains(&service.point.value.as_str()))
    {
        service.by = by.clone();
        service.function = function.clone();
    }
    Some((other, by.value))
}

/// What is said of a limit in `check`.
pub(crate) fn says(
    expanded: Option<Quantity>,
    half_width: Option<Quantity>,
    ratio: Option<f64>,
    (needs, decidable): (Option<Quantity>, bool),
    unit: &str,
) -> String {
    let show = |quantity: Quantity| shown(quantity, unit);
    let Some(expanded) = expanded else {
        let needed = if decidable {
            ""
        } else {
            "; what the step needs cannot be said before the run"
        };
        return format!("uncertainty known only from the run{needed}");
    };
    if let Some(needs) = needs.filter(|_| !decidable) {
        return format!(
            "not decidable here: U = {}, the step needs at most {}",
            show(expanded),
            show(needs)
        );
    }
    let Some(half_width) = half_width else {
        return format!("U = {}, a tolerance without width", show(expanded));
    };
    match ratio {
        Some(ratio) if ratio < 1.0 => {
            format!(
                "U = {} is wider than the tolerance of ±{}",
                show(expanded),
                show(half_width)
            )
        }
        Some(ratio) => format!(
            "U = {} in a tolerance of ±{}, {ratio:.1} to 1",
            show(expanded),
            show(half_width)
        ),
        None => format!("exact, tolerance ±{}", show(half_width)),
    }
}

/// Ratios in the unit of the limit; everything else in a unit of its own, because a difference has no offset (kelvins, not
/// degrees Celsius) and is often far smaller than its limit.
fn shown(quantity: Quantity, unit: &str) -> String {
    match Unit::find(unit) {
        Some(unit) if quantity.dimension().is_none() => quantity.display_in(unit),
        _ => quantity.to_string(),
    }
}
