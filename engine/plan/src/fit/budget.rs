//! The walk over a program that gives each reading its uncertainty before it is taken, and compares it with each limit.

use super::accuracy::{Term, expanded_at, of_measure};
use super::budget_finds::Finds;
use super::computed::{Formula, Input};
use super::estimate::aperture;
use super::expected::{Expected, order_of};
use super::fitness::Fitness;
use super::problems::Problems;
use super::services::Services;
use crate::files::bench::BenchFile;
use crate::files::driver::DriverFile;
use crate::files::sequence::AnswerText;
use crate::program::{
    Act, ActKind, AskSpec, CaptureSpec, JudgeSpec, LateBounds, Program, ProveDeadSpec, Step, WaitSpec,
};
use crate::source::Span;
use crate::sources::{LOOKS, STATED, of_answer};
use pilotage_core::expr::Value;
use pilotage_core::{Dimension, Expr, Measured, Quantity, Uncertainty, Unit, uncertainty};
use std::collections::{BTreeMap, BTreeSet};

/// Of a value, an uncertainty so small is what the rounding of numbers leaves where terms cancel.
const CANCELS: f64 = 1e-9;

/// What is known of a reading before it is taken.
#[derive(Debug, Clone)]
pub(super) struct Foreseen {
    pub(super) points: Vec<String>,
    of: Of,
    expected: Option<Quantity>,
    dimension: Dimension,
}

/// Where its uncertainty comes from.
#[derive(Debug, Clone)]
enum Of {
    /// Terms; none at all is an exact value.
    Terms(Vec<Term>),
    /// An expression of others.
    Computed(Box<(Expr, BTreeMap<String, Input>)>),
    /// Nothing is known, and why.
    Unknown(String),
}

/// Every limit of a program, each once.
pub(super) fn walk(
    program: &Program,
    bench: &BenchFile,
    drivers: &BTreeMap<String, DriverFile>,
    ideal: bool,
) -> Vec<Fitness> {
    let kind = program.heading.item.kind;
    let mut walk = Walk {
        program,
        services: Services::resolve(kind, bench, drivers, &mut Problems::default()),
        ideal,
        readings: BTreeMap::new(),
        origins: BTreeMap::new(),
        expected: Expected::default(),
        capture: None,
        at: BTreeMap::new(),
        found: Vec::new(),
    };
    for step in &program.steps {
        walk.expected.enter(step);
        for act in &step.acts {
            walk.act(step, act);
        }
    }
    walk.found
}

/// What is known so far.
pub(super) struct Walk<'a> {
    program: &'a Program,
    services: Services<'a>,
    /// Whether instruments add nothing.
    ideal: bool,
    pub(super) readings: BTreeMap<String, Foreseen>,
    /// Every term met so far by its source, for what it is and where it stands.
    origins: BTreeMap<String, Term>,
    expected: Expected,
    capture: Option<(&'a CaptureSpec, &'a Span)>,
    pub(super) at: BTreeMap<(u32, String, String), usize>,
    pub(super) found: Vec<Fitness>,
}

/// A limit of a reading in an act of a step.
#[derive(Clone, Copy)]
pub(super) struct Place<'p> {
    pub(super) step: &'p Step,
    pub(super) act: &'p Act,
    pub(super) name: &'p str,
}

impl<'p> Walk<'p> {
    fn act(&mut self, step: &'p Step, act: &'p Act) {
        if let Some(order) = order_of(act) {
            self.expected.set(order);
            if let Some(name) = &order.becomes {
                self.exact(name, self.expected.of_point(&order.point, self.program));
            }
        }
        match &act.kind {
            ActKind::Read(specs) => {
                for spec in specs {
                    self.read(&spec.name, &spec.point, &spec.unit);
                }
            }
            ActKind::Capture(capture) => {
                self.capture = Some((capture, &act.span));
                for inner in &capture.during {
                    self.act(step, inner);
                }
            }
            ActKind::Find(specs) => {
                let finds = Finds {
                    services: &self.services,
                    capture: self.capture,
                    mains_hz: self.program.constants.get("supply_frequency").map(|hz| hz.si()),
                };
                let found: Vec<_> = specs
                    .iter()
                    .map(|spec| (&spec.name, &spec.unit, finds.find(spec, &act.span)))
                    .collect();
                for (name, unit, (points, terms)) in found {
                    let of = terms.map_or_else(Of::Unknown, Of::Terms);
                    self.foresee(name, unit, points, of, None);
                }
            }
            ActKind::WaitFor(wait) => self.wait(step, act, wait),
            ActKind::MustNot(must_not) => {
                self.exact(&must_not.name, None);
                self.limit(
                    Place {
                        step,
                        act,
                        name: &must_not.name,
                    },
                    &must_not.limit,
                );
            }
            ActKind::Settle(settle) => {
                for spec in settle.along.iter().flat_map(|(reads, _)| reads) {
                    self.read(&spec.name, &spec.point, &spec.unit);
                }
            }
            ActKind::Ask(ask) => self.ask(step, act, ask),
            ActKind::Judge(specs) => {
                self.expected.judging(specs);
                for spec in specs {
                    self.judge(step, act, spec);
                }
            }
            ActKind::ProveDead(spec) => self.dead(step, act, spec),
            ActKind::Isolate(isolate) => {
                for spec in &isolate.prove {
                    self.dead(step, act, spec);
                }
            }
            _ => {}
        }
    }

    fn read(&mut self, name: &str, point: &str, unit: &str) {
        let of = match self.services.measure(point) {
            Some((service, text)) => of_measure(&service, text, name).map_or_else(Of::Unknown, Of::Terms),
            None => Of::Unknown(format!(
                "`{point}` gives a set point or a word: no accuracy is stated for it"
            )),
        };
        let expected = self.expected.of_point(point, self.program);
        self.foresee(name, unit, vec![point.to_owned()], of, expected);
    }

    fn foresee(&mut self, name: &str, unit: &str, points: Vec<String>, of: Of, expected: Option<Quantity>) {
        let of = match of {
            Of::Terms(mut terms) => {
                terms.retain(|term| !(self.ideal && term.by_instrument));
                let named = terms.iter().map(|term| (term.source.clone(), term.clone()));
                self.origins.extend(named);
                Of::Terms(terms)
            }
            other => other,
        };
        let dimension = Unit::find(unit).map_or(Dimension::NONE, |unit| unit.dimension);
        let foreseen = Foreseen {
            points,
            of,
            expected,
            dimension,
        };
        self.readings.insert(name.to_owned(), foreseen);
    }

    fn exact(&mut self, name: &str, expected: Option<Quantity>) {
        let foreseen = Foreseen {
            points: Vec::new(),
            of: Of::Terms(Vec::new()),
            dimension: expected.map_or(Dimension::NONE, Quantity::dimension),
            expected,
        };
        self.readings.insert(name.to_owned(), foreseen);
    }

    /// An event found by looking now and then lies between two looks, from the begin of the one to the end of the other.
    fn wait(&mut self, step: &'p Step, act: &'p Act, wait: &'p WaitSpec) {
        let look = aperture(&wait.condition.point, &self.services).unwrap_or_default();
        let half_s = (wait.every + look).as_secs_f64() / 2.0;
        let between = uncertainty::rectangular(half_s);
        let term = Term::of_sequence(of_answer(LOOKS, &wait.name), act.span.place(), between);
        self.foresee(&wait.name, "s", Vec::new(), Of::Terms(vec![term]), None);
        self.limit(
            Place {
                step,
                act,
                name: &wait.name,
            },
            &wait.limit,
        );
    }

    /// A yes, a no and a word are exact; what a person reads off an instrument is as good as they or the sequence say.
    fn ask(&mut self, step: &'p Step, act: &'p Act, ask: &'p AskSpec) {
        let AnswerText::Quantity { .. } = &ask.answer else {
            self.exact(&ask.name, None);
            if let Some(limit) = &ask.limit {
                self.limit(
                    Place {
                        step,
                        act,
                        name: &ask.name,
                    },
                    limit,
                );
            }
            return;
        };
        let (of, unit) = if let Some(expanded) = ask.uncertainty {
            let what = "uncertainty that the sequence states for the answer";
            let term = Term {
                source: of_answer(STATED, &ask.name),
                ..Term::of_sequence(what, act.span.place(), expanded.si() / 2.0)
            };
            let unit = Unit::coherent(expanded.dimension()).map_or("", |unit| unit.symbol);
            (Of::Terms(vec![term]), unit)
        } else {
            let why = "known only when typed: it is half of the last digit, unless the person states it";
            (Of::Unknown(why.to_owned()), "")
        };
        self.foresee(&ask.name, unit, Vec::new(), of, None);
    }

    /// Every pair of a place, AC and DC, against the limits below which it counts as dead; the least fit pair is told.
    fn dead(&mut self, step: &'p Step, act: &'p Act, spec: &ProveDeadSpec) {
        let limits = self.program.dead.limits.clone();
        for (quantity, limit, kind) in [("voltage", &limits.0, "AC"), ("dc_voltage", &limits.1, "DC")] {
            let name = format!("{} dead, {kind}", spec.at);
            let all = spec.pairs.iter().map(|pair| format!("{}[{pair}].{quantity}", spec.at));
            let all: Vec<String> = all.collect();
            for pair in &spec.pairs {
                let point = format!("{}[{pair}].{quantity}", spec.at);
                self.read(&name, &point, &limit.unit);
                if let Some(reading) = self.readings.get_mut(&name) {
                    reading.points.clone_from(&all);
                }
                self.limit(Place { step, act, name: &name }, limit);
            }
        }
    }

    fn judge(&mut self, step: &'p Step, act: &'p Act, spec: &'p JudgeSpec) {
        if spec.when.as_ref().is_some_and(|when| self.never(act, when)) {
            return;
        }
        if let Some(expr) = &spec.value {
            self.compute(act, spec, expr);
        }
        for (at, limit) in spec.limits.iter().enumerate() {
            let place = Place {
                step,
                act,
                name: &spec.name,
            };
            match spec.late_bounds.get(&at).map(|late| self.bounds(act, late)) {
                None => self.limit(place, limit),
                Some(Ok((low, high))) => self.limit(place, &limit.worked_out(low, high)),
                Some(Err(why)) => {
                    let limit = limit.clone();
                    let entry = self.entry(place, &limit, Err(why));
                    self.keep(entry);
                }
            }
        }
    }

    /// Whether a condition of constants alone does not hold in this pass.
    fn never(&self, act: &Act, when: &Expr) -> bool {
        let constant = |name: &str| self.constant(act, name).map(|value| Ok(Measured::exact(value)));
        when.names().iter().all(|name| self.constant(act, name).is_some())
            && matches!(when.evaluate(&constant), Ok(Value::Truth(false)))
    }

    fn constant(&self, act: &Act, name: &str) -> Option<Quantity> {
        let of_pass = act.constants.get(name);
        let of_program = || {
            self.program
                .constants
                .get(name)
                .filter(|_| !self.readings.contains_key(name))
        };
        of_pass.or_else(of_program).copied()
    }

    fn compute(&mut self, act: &Act, spec: &JudgeSpec, expr: &Expr) {
        let inputs = self.inputs(act, expr);
        let (of, expected) = match inputs {
            Ok(inputs) => {
                let expected = Formula::new(expr, &inputs, Dimension::NONE).expected();
                (Of::Computed(Box::new((expr.clone(), inputs))), expected)
            }
            Err(why) => (Of::Unknown(why), None),
        };
        let readings = expr.names().into_iter().filter_map(|name| self.readings.get(name));
        let points: BTreeSet<String> = readings.flat_map(|reading| reading.points.clone()).collect();
        self.foresee(&spec.name, &spec.unit, points.into_iter().collect(), of, expected);
    }

    /// What goes into an expression, or why one of its readings is not known.
    fn inputs(&self, act: &Act, expr: &Expr) -> Result<BTreeMap<String, Input>, String> {
        let input = |name: &str| {
            if let Some(value) = self.constant(act, name) {
                return Ok((name.to_owned(), exact_input(value)));
            }
            let Some(reading) = self.readings.get(name) else {
                return Err(format!("`${name}` is not known before the run"));
            };
            let expected = reading.expected.or_else(|| self.expected.of_name(name));
            let terms = match &reading.of {
                Of::Terms(terms) => terms.clone(),
                Of::Unknown(why) => return Err(format!("`${name}`: {why}")),
                Of::Computed(of) => {
                    let at = expected.ok_or_else(|| format!("`${name}` is known only when read"))?;
                    let formula = Formula::new(&of.0, &of.1, reading.dimension);
                    self.terms(&formula.at(at.si())?, act)
                }
            };
            let dimension = reading.dimension;
            Ok((
                name.to_owned(),
                Input {
                    terms,
                    expected,
                    dimension,
                    constant: false,
                    in_window: expected.is_some() && reading.expected.is_none(),
                },
            ))
        };
        expr.names().into_iter().map(input).collect()
    }

    /// Bounds that depend on readings, at what these should be, with their uncertainty.
    fn bounds(&self, act: &Act, late: &LateBounds) -> Result<(Option<Measured>, Option<Measured>), String> {
        let bound = |expr: &Option<Expr>| {
            let Some(expr) = expr else { return Ok(None) };
            let inputs = self.inputs(act, expr)?;
            let formula = Formula::new(expr, &inputs, Dimension::NONE);
            let why = || format!("its bound `{}` is known only when read", expr.text());
            formula.foreseen().map(Some).ok_or_else(why)
        };
        match (bound(&late.low)?, bound(&late.high)?) {
            (None, None) => Err("it has no bound".to_owned()),
            both => Ok(both),
        }
    }

    /// Contributions as terms again, with what they are and where they stand.
    pub(super) fn terms(&self, found: &Uncertainty, act: &Act) -> Vec<Term> {
        let Uncertainty::Known(contributions) = found else {
            return Vec::new();
        };
        let merged = uncertainty::merged(contributions);
        let term = |contribution: &pilotage_core::Contribution| {
            let own = Term::of_sequence(contribution.source.clone(), act.span.place(), 0.0);
            Term {
                source: contribution.source.clone(),
                relative: 0.0,
                fixed: contribution.standard,
                ..self.origins.get(&contribution.source).cloned().unwrap_or(own)
            }
        };
        let unsized_before = |term: &Term| self.origins.get(&term.source).is_some_and(Term::is_nothing);
        let terms = merged.iter().map(term);
        terms
            .filter(|term| !term.is_nothing() || unsized_before(term))
            .collect()
    }

    /// The terms of a reading at a value, the largest first.
    pub(super) fn terms_at(&self, reading: &Foreseen, si: f64, act: &Act) -> Result<Vec<Term>, String> {
        let mut terms = match &reading.of {
            Of::Terms(terms) => terms.clone(),
            Of::Unknown(why) => return Err(why.clone()),
            Of::Computed(of) => {
                let formula = Formula::new(&of.0, &of.1, reading.dimension);
                let terms = self.terms(&formula.at(si)?, act);
                self.something_left(&of.0, &terms, si)?;
                terms
            }
        };
        terms.sort_by(|a, b| b.standard_at(si).abs().total_cmp(&a.standard_at(si).abs()));
        Ok(terms)
    }

    /// Where all that has a size cancels, nothing is known beforehand of what is left: the uncertainty is not zero.
    fn something_left(&self, expr: &Expr, terms: &[Term], si: f64) -> Result<(), String> {
        let more_will_come = !self.ideal && terms.iter().any(Term::is_nothing);
        if more_will_come && expanded_at(terms, si) <= CANCELS * si.abs() {
            let expr = expr.text();
            return Err(format!(
                "known only when read: what is known beforehand of `{expr}` cancels"
            ));
        }
        Ok(())
    }
}

fn exact_input(value: Quantity) -> Input {
    Input {
        terms: Vec::new(),
        expected: Some(value),
        dimension: value.dimension(),
        constant: true,
        in_window: false,
    }
}
