//! Steps: whether they apply, their passes, and what becomes of those that the bench does not serve.

use super::code;
use super::fitter::{Fitter, Intended, Situation, StepState};
use super::names::{Absent, ReadingName};
use crate::files::sequence::{ActForm, StepText};
use crate::problem::Problem;
use crate::program::{Act, Step, with_inner};
use pilotage_core::Quantity;
use pilotage_evidence::EnergyState;
use pilotage_evidence::heading::{Closing, NotTested, StepHead};
use pilotage_evidence::pictured::PicturePlate;
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

/// The steps of a program, and those that are left out.
#[derive(Debug, Default)]
pub(crate) struct Walked {
    /// Steps in order; those that do not apply have no acts.
    pub(crate) steps: Vec<Step>,
    /// Steps that the bench does not serve.
    pub(crate) not_tested: Vec<NotTested>,
    /// Steps that take an earlier look at the bench once more.
    pub(crate) closings: Vec<Closing>,
}

impl Fitter<'_> {
    /// Walks every step.
    pub(crate) fn walk(&mut self) -> Walked {
        let mut walked = Walked::default();
        let steps = &self.request.sequence.steps;
        for (place, text) in steps.iter().enumerate() {
            self.check_closes(text, &steps[..place]);
            self.step(text, &mut walked);
        }
        walked
    }

    /// What a step takes once more must stand before it.
    fn check_closes(&mut self, text: &StepText, earlier: &[StepText]) {
        let Some(closes) = &text.closes else { return };
        if earlier.iter().any(|step| step.id.value == closes.value) {
            return;
        }
        let known: Vec<&str> = earlier.iter().map(|step| step.id.value.as_str()).collect();
        let mend = if known.is_empty() {
            "put the first look at the bench before it".to_owned()
        } else {
            format!("write one of: {}", known.join(", "))
        };
        self.problems.add(
            Problem::new(
                code::UNKNOWN_NAME,
                &closes.span,
                format!("no step before this one has the id {}", closes.value),
            )
            .expected("the id of an earlier step, which this step takes once more")
            .got(format!("`{}`", closes.value))
            .mend(mend),
        );
    }

    fn step(&mut self, text: &StepText, walked: &mut Walked) {
        let (start, energised) = (self.now.clone(), self.energises_at.clone());
        self.step = StepState {
            applies: true,
            id: text.id.value.clone(),
            ..StepState::default()
        };
        if let Some(why) = self.why_skipped(text) {
            self.step.applies = false;
            self.step.leave_out(Absent::DoesNotApply(why));
        } else if let Some(why) = self.why_not_begun(text) {
            self.step.not_served(why);
            // Its text is checked in the state that the author meant.
            self.now = self
                .intended
                .clone()
                .map_or_else(|| start.clone(), |intended| intended.situation);
        }
        let acts = self.all_passes(text);
        let needs = self.needs(text);
        let pictures = self.pictures(text);
        let absent = self.step.absent.take();
        if let Some(absent) = &absent {
            self.energises_at = energised;
            self.mark_absent(text, absent);
        }
        let end = std::mem::replace(&mut self.now, start);
        match absent {
            None => {
                self.now = end;
                self.intended = None;
                walked.close(text);
                walked.push(text, (acts, pictures), needs, None);
            }
            Some(Absent::DoesNotApply(why)) => {
                walked.push(text, (Vec::new(), Vec::new()), BTreeMap::new(), Some(why));
            }
            Some(Absent::NotTested(why)) => {
                self.intend(text, end);
                walked.leave_out(text, why);
            }
        }
    }

    /// Keeps what the author meant: the state that a left-out step would have left, where that differs from what is.
    fn intend(&mut self, text: &StepText, end: Situation) {
        let differs = end.settings != self.now.settings
            || (end.bench.energy == EnergyState::Isolated && self.energy() != EnergyState::Isolated);
        let left_out = text.id.value.clone();
        self.intended = differs.then_some(Intended {
            situation: end,
            left_out,
        });
    }

    /// Why a step cannot begin: a step before it was left out, and it does not itself set what that one would have set.
    fn why_not_begun(&self, text: &StepText) -> Option<String> {
        let intended = self.intended.as_ref()?;
        let id = &intended.left_out;
        let isolated = |situation: &Situation| situation.bench.energy == EnergyState::Isolated;
        if isolated(&intended.situation) && !isolated(&self.now) {
            return Some(format!(
                "begins in *isolated*, as {id} would leave it, which is not tested"
            ));
        }
        let own = set_first(text);
        let wanted = intended.situation.settings.differing(&self.now.settings);
        let missing: Vec<String> = wanted
            .into_iter()
            .filter(|(point, _)| !own.contains(point.as_str()))
            .map(|(p, v)| format!("`{p}`: {v}"))
            .collect();
        (!missing.is_empty()).then(|| {
            format!(
                "begins in the state that {id} would leave ({}), which is not tested",
                missing.join(", ")
            )
        })
    }

    fn why_skipped(&mut self, text: &StepText) -> Option<String> {
        let only_if = text.only_if.as_ref()?;
        let holds = self.truth(only_if)?;
        (!holds).then(|| format!("only where the nameplate has `{}`", only_if.expr.text()))
    }

    fn all_passes(&mut self, text: &StepText) -> Vec<Act> {
        let mut acts = Vec::new();
        for pass in self.passes(text) {
            self.pass = pass.constants;
            self.labels = pass.labels;
            self.step.capture = None;
            self.step.sweep = None;
            self.acts(&text.acts, &mut acts);
        }
        self.pass = BTreeMap::new();
        self.labels = Vec::new();
        acts
    }

    fn needs(&mut self, text: &StepText) -> BTreeMap<String, Quantity> {
        let mut needs = BTreeMap::new();
        for (name, formula) in &text.needs {
            let Some(reading) = self.readings.get(&name.value).cloned() else {
                self.unknown_name(&name.value, &name.span);
                continue;
            };
            let Some(dimension) = reading.dimension else { continue };
            if let Some(largest) = self.number(formula, dimension, "the uncertainty that a step needs") {
                needs.insert(name.value.clone(), largest);
            }
        }
        needs
    }

    /// Readings of a step that is left out are absent, unless an earlier step takes them too.
    fn mark_absent(&mut self, text: &StepText, absent: &Absent) {
        let defines = std::mem::take(&mut self.step.defines);
        let before: BTreeMap<String, ReadingName> = std::mem::take(&mut self.step.before);
        for name in defines {
            if let Some(old) = before.get(&name).filter(|old| old.absent.is_none()) {
                self.readings.insert(name, old.clone());
            } else if let Some(reading) = self.readings.get_mut(&name) {
                reading.absent = Some(inherited(text, &name, absent));
            }
        }
    }
}

fn inherited(text: &StepText, name: &str, absent: &Absent) -> Absent {
    let id = &text.id.value;
    match absent {
        Absent::DoesNotApply(why) => Absent::DoesNotApply(format!("needs `${name}` of {id}, which {why}")),
        Absent::NotTested(why) => Absent::NotTested(format!("needs `${name}` of {id}, which is not tested: {why}")),
    }
}

/// The points that a step sets before it does anything else but wait.
fn set_first(text: &StepText) -> BTreeSet<&str> {
    let mut points = BTreeSet::new();
    for act in &text.acts {
        match &act.form {
            ActForm::Set(entries) => points.extend(entries.iter().map(|(point, _)| point.value.as_str())),
            ActForm::Hold(_, None) => {}
            _ => break,
        }
    }
    // A state replaces the ladder, and the ladder a state.
    if points.contains("pilot_load") || points.contains("pilot_load.resistance") {
        points.extend(["pilot_load", "pilot_load.resistance"]);
    }
    points
}

impl Walked {
    fn leave_out(&mut self, text: &StepText, why: String) {
        self.not_tested.push(NotTested {
            what: text.id.value.clone(),
            title: text.title.value.clone(),
            why,
            left_out: true,
        });
    }

    /// Where the earlier look was taken, not left out, the step that comes now closes it.
    fn close(&mut self, text: &StepText) {
        let Some(closes) = &text.closes else { return };
        let looked = |step: &&Step| step.head.id == closes.value && step.skipped.is_none();
        if let Some(earlier) = self.steps.iter().rev().find(looked) {
            self.closings.push(Closing {
                step: u32::try_from(self.steps.len()).unwrap_or(u32::MAX),
                since: earlier.head.number,
            });
        }
    }

    fn push(
        &mut self,
        text: &StepText,
        (acts, pictures): (Vec<Act>, Vec<PicturePlate>),
        needs: BTreeMap<String, Quantity>,
        skipped: Option<String>,
    ) {
        let head = StepHead {
            number: u32::try_from(self.steps.len()).unwrap_or(u32::MAX),
            id: text.id.value.clone(),
            title: text.title.value.clone(),
            place: text.title.span.place(),
            fail_means: text.fail_means.clone(),
            look_next: text.look_next.clone(),
            pictures,
        };
        self.steps.push(Step {
            head,
            isolated: !acts.is_empty() && all_isolated(&acts),
            skipped,
            needs,
            fail_side: text.fail_side,
            estimate: Duration::ZERO,
            acts,
            span: text.title.span.clone(),
        });
    }
}

/// Whether every act runs in *isolated*, before and after.
fn all_isolated(acts: &[Act]) -> bool {
    let mut all = with_inner(acts).into_iter();
    all.all(|act| act.before == EnergyState::Isolated && act.after == EnergyState::Isolated)
}
