//! What is known while a sequence is walked: names, services, the symbolic state of the bench, the step at hand.

use super::names::{Absent, ReadingName};
use super::pictures::Variable;
use super::plate::Plate;
use super::problems::Problems;
use super::request::FitRequest;
use super::services::Services;
use super::settings::Settings;
use crate::energy::BenchState;
use crate::kind::KindTable;
use crate::problem::Problem;
use crate::program::{Act, ActKind};
use crate::source::Span;
use pilotage_core::{Dimension, Quantity};
use pilotage_evidence::EnergyState;
use std::collections::{BTreeMap, BTreeSet};

/// What follows from the acts so far. Copied before a step, put back where the step is left out.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Situation {
    /// Symbolic state of the bench.
    pub(crate) bench: BenchState,
    /// What every point was last set to.
    pub(crate) settings: Settings,
    /// Whether the supply's voltage was set.
    pub(crate) voltage_set: bool,
    /// What points with a bound that binds only under supply were last set to.
    pub(crate) told: BTreeMap<&'static str, Quantity>,
    /// Seconds above half of the rated load without a break.
    pub(crate) loaded_s: f64,
    /// Number of the next act.
    pub(crate) next_act: u32,
}

impl Situation {
    /// After the tool's own preamble.
    pub(crate) fn start() -> Self {
        Self {
            bench: BenchState::isolated(),
            settings: Settings::default(),
            voltage_set: false,
            told: BTreeMap::new(),
            loaded_s: 0.0,
            next_act: 0,
        }
    }
}

/// What the author meant at this place, where a step was left out before it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Intended {
    /// As if the step had been done.
    pub(crate) situation: Situation,
    /// The step that was left out.
    pub(crate) left_out: String,
}

/// A capture that analyses may use.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LastCapture {
    /// Channels with dimension and unit.
    pub(crate) channels: BTreeMap<String, (Dimension, String)>,
    /// Length in s and samples a second, once they are worked out.
    pub(crate) sampling: Option<(f64, f64)>,
}

/// The step at hand.
#[derive(Debug, Clone, Default)]
pub(crate) struct StepState {
    /// Whether it applies to this nameplate; refusals that depend on the nameplate are silent where it does not.
    pub(crate) applies: bool,
    /// Its id.
    pub(crate) id: String,
    /// Why it is left out.
    pub(crate) absent: Option<Absent>,
    /// The last capture of this pass.
    pub(crate) capture: Option<LastCapture>,
    /// The readings of the last sweep of this pass; `None` before the first.
    pub(crate) sweep: Option<BTreeSet<String>>,
    /// The readings of the sweep that is being walked.
    pub(crate) sweeping: Option<BTreeSet<String>>,
    /// Readings that it defines.
    pub(crate) defines: BTreeSet<String>,
    /// Readings that existed before under the same name.
    pub(crate) before: BTreeMap<String, ReadingName>,
    /// Whether a capture is running.
    pub(crate) capturing: bool,
    /// Names of `for_each` and of sweeps, with their values.
    pub(crate) variables: BTreeMap<String, Variable>,
    /// Points that it captures, with the unit of their samples.
    pub(crate) captured: BTreeMap<String, String>,
    /// Readings that it judges.
    pub(crate) judged: BTreeSet<String>,
}

impl StepState {
    /// Leaves the step out; the first reason is kept.
    pub(crate) fn leave_out(&mut self, why: Absent) {
        self.absent.get_or_insert(why);
    }

    /// The bench does not serve something.
    pub(crate) fn not_served(&mut self, why: impl Into<String>) {
        self.leave_out(Absent::NotTested(why.into()));
    }
}

/// Walks a sequence.
pub(crate) struct Fitter<'a> {
    /// What is fitted together.
    pub(crate) request: FitRequest<'a>,
    /// What is special for this kind of item.
    pub(crate) table: &'static KindTable,
    /// The nameplate.
    pub(crate) plate: Plate,
    /// What the bench serves.
    pub(crate) services: Services<'a>,
    /// What is wrong.
    pub(crate) problems: Problems,
    /// Readings defined so far.
    pub(crate) readings: BTreeMap<String, ReadingName>,
    /// Values of `for_each` and sweep names.
    pub(crate) pass: BTreeMap<String, Quantity>,
    /// Labels of the passes that are open, outermost first.
    pub(crate) labels: Vec<String>,
    /// What follows from the acts so far.
    pub(crate) now: Situation,
    /// What the author meant, where a step was left out.
    pub(crate) intended: Option<Intended>,
    /// The step at hand.
    pub(crate) step: StepState,
    /// Where something is energised first.
    pub(crate) energises_at: Option<Span>,
    /// Captures so far, by step id.
    pub(crate) captures: BTreeMap<String, u32>,
}

impl<'a> Fitter<'a> {
    /// Whether the bench is a person with meters.
    pub(crate) fn hand_held(&self) -> bool {
        !self.request.bench.hand_held.is_empty()
    }

    /// Nothing walked yet.
    pub(crate) fn new(request: FitRequest<'a>, table: &'static KindTable) -> Self {
        let mut problems = Problems::default();
        let plate = Plate::read(request.item, &mut problems);
        let kind = request.sequence.item.value;
        let services = Services::resolve(kind, request.bench, request.drivers, &mut problems);
        Self {
            request,
            table,
            plate,
            services,
            problems,
            readings: BTreeMap::new(),
            pass: BTreeMap::new(),
            labels: Vec::new(),
            now: Situation::start(),
            intended: None,
            step: StepState {
                applies: true,
                ..StepState::default()
            },
            energises_at: None,
            captures: BTreeMap::new(),
        }
    }

    /// Whether this bench can energise this kind of item at all.
    pub(crate) fn has_source(&self) -> bool {
        let mut sources = self.table.sources.iter();
        sources.any(|source| self.services.serves_any_of(source))
    }

    /// Refuses what the situation forbids. Silent in a step that does not apply: its values may make no sense there.
    pub(crate) fn refuse(&mut self, problem: Problem) {
        if self.step.applies {
            self.problems.add(problem);
        }
    }

    /// What a person may assume now.
    pub(crate) fn energy(&self) -> EnergyState {
        self.now.bench.energy
    }

    /// The next act's number.
    pub(crate) fn take_number(&mut self) -> u32 {
        let number = self.now.next_act;
        self.now.next_act += 1;
        number
    }

    /// An act that began in `before` and leaves the present state.
    pub(crate) fn finish(&self, number: u32, kind: ActKind, before: EnergyState, span: &Span) -> Act {
        Act {
            number,
            kind,
            before,
            after: self.energy(),
            pass: (!self.labels.is_empty()).then(|| self.labels.join(", ")),
            constants: self.pass.clone(),
            span: span.clone(),
        }
    }

    /// An act that changes nothing about energy.
    pub(crate) fn plain(&mut self, kind: ActKind, span: &Span) -> Act {
        let number = self.take_number();
        self.finish(number, kind, self.energy(), span)
    }

    /// Defines a reading. Names of the nameplate and of passes stay theirs.
    pub(crate) fn define(&mut self, name: &str, dimension: Option<Dimension>, unit: &str, span: &Span) {
        if self.constant(name).is_some() {
            self.problems.add(super::acts::name_taken(name, span));
            return;
        }
        let reading = ReadingName {
            dimension,
            unit: unit.to_owned(),
            absent: None,
        };
        let old = self.readings.insert(name.to_owned(), reading);
        if self.step.defines.insert(name.to_owned())
            && let Some(old) = old
        {
            self.step.before.insert(name.to_owned(), old);
        }
        if let Some(sweep) = &mut self.step.sweeping {
            sweep.insert(name.to_owned());
        }
    }
}
