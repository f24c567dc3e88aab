//! Steps: whether they apply, their passes, and what becomes of those that the bench does not serve.

use super::fitter::{Fitter, StepState};
use super::names::{Absent, ReadingName};
use crate::files::sequence::StepText;
use crate::program::{Act, ActKind, Step};
use pilotage_core::Quantity;
use pilotage_evidence::EnergyState;
use pilotage_evidence::heading::{NotTested, StepHead};
use std::collections::BTreeMap;

/// The steps of a program, and those that are left out.
#[derive(Debug, Default)]
pub(crate) struct Walked {
    /// Steps in order; those that do not apply have no acts.
    pub(crate) steps: Vec<Step>,
    /// Steps that the bench does not serve.
    pub(crate) not_tested: Vec<NotTested>,
}

impl Fitter<'_> {
    /// Walks every step.
    pub(crate) fn walk(&mut self) -> Walked {
        let mut walked = Walked::default();
        for text in &self.request.sequence.steps {
            self.step(text, &mut walked);
        }
        walked
    }

    fn step(&mut self, text: &StepText, walked: &mut Walked) {
        let (start, energised) = (self.now, self.energises_at.clone());
        self.step = StepState {
            applies: true,
            id: text.id.value.clone(),
            ..StepState::default()
        };
        if let Some(why) = self.why_skipped(text) {
            self.step.applies = false;
            self.step.leave_out(Absent::DoesNotApply(why));
        }
        let acts = self.all_passes(text);
        let needs = self.needs(text);
        let absent = self.step.absent.take();
        if let Some(absent) = &absent {
            self.now = start;
            self.energises_at = energised;
            self.mark_absent(text, absent);
        }
        match absent {
            None => walked.push(text, acts, needs, None),
            Some(Absent::DoesNotApply(why)) => walked.push(text, Vec::new(), BTreeMap::new(), Some(why)),
            Some(Absent::NotTested(why)) => walked.not_tested.push(NotTested {
                what: text.id.value.clone(),
                title: text.title.value.clone(),
                why,
            }),
        }
    }

    fn why_skipped(&mut self, text: &StepText) -> Option<String> {
        let only_if = text.only_if.as_ref()?;
        let holds = self.truth(only_if)?;
        (!holds).then(|| format!("does not apply to this nameplate: only if `{}`", only_if.expr.text()))
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

impl Walked {
    fn push(&mut self, text: &StepText, acts: Vec<Act>, needs: BTreeMap<String, Quantity>, skipped: Option<String>) {
        let head = StepHead {
            number: u32::try_from(self.steps.len()).unwrap_or(u32::MAX),
            id: text.id.value.clone(),
            title: text.title.value.clone(),
            place: text.title.span.place(),
            fail_means: text.fail_means.clone(),
            look_next: text.look_next.clone(),
        };
        self.steps.push(Step {
            head,
            isolated: !acts.is_empty() && all_isolated(&acts),
            skipped,
            needs,
            fail_side: text.fail_side,
            acts,
            span: text.title.span.clone(),
        });
    }
}

/// Whether every act runs in *isolated*, before and after.
fn all_isolated(acts: &[Act]) -> bool {
    acts.iter().all(|act| {
        let inner = match &act.kind {
            ActKind::Capture(capture) => all_isolated(&capture.during),
            _ => true,
        };
        inner && act.before == EnergyState::Isolated && act.after == EnergyState::Isolated
    })
}
