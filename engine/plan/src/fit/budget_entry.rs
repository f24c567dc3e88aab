//! A reading's foreseen uncertainty against one limit: what comes of it, and which of several passes is told.

use super::accuracy::{Term, expanded_at};
use super::budget::{Foreseen, Place, Walk};
use super::fitness::{Fitness, says};
use super::window::{Decides, Weighed, some_bound, weigh, width};
use pilotage_core::Quantity;
use pilotage_core::Uncertainty;
use pilotage_core::uncertainty::propagate;
use pilotage_evidence::heading::LimitPlate;

impl Walk<'_> {
    /// Compares a reading with a limit.
    pub(super) fn limit(&mut self, place: Place<'_>, limit: &LimitPlate) {
        let weighed = match self.readings.get(place.name) {
            None => Err(format!("`{}` is never taken in this run", place.name)),
            Some(reading) => weigh(&limit.tolerance, &mut |si| {
                self.counted(place, limit, reading, si)
                    .map(|terms| expanded_at(&terms, si))
            }),
        };
        let entry = self.entry(place, limit, weighed);
        self.keep(entry);
    }

    /// The terms that count where a reading has a value, as [`LimitPlate::counted`]; its own still grow with it.
    fn counted(&self, place: Place<'_>, limit: &LimitPlate, reading: &Foreseen, si: f64) -> Result<Vec<Term>, String> {
        let own = self.terms_at(reading, si, place.act)?;
        let less_bound = |bound: &Uncertainty| {
            let mut terms = own.clone();
            for of_bound in self.terms(&propagate(&[(-1.0, bound)]), place.act) {
                match terms.iter_mut().find(|term| term.source == of_bound.source) {
                    Some(term) => term.fixed += of_bound.fixed,
                    None => terms.push(of_bound),
                }
            }
            terms
        };
        let size = |terms: &[Term]| expanded_at(terms, si);
        let all = limit.bounds.iter().map(less_bound);
        Ok(all.fold(
            own.clone(),
            |most, one| if size(&one) < size(&most) { most } else { one },
        ))
    }

    /// What comes of a limit.
    pub(super) fn entry(&self, place: Place<'_>, limit: &LimitPlate, weighed: Result<Weighed, String>) -> Fitness {
        let Place { step, act, name } = place;
        let (weighed, unknown) = match weighed {
            Ok(weighed) => (Some(weighed), None),
            Err(why) => (None, Some(why)),
        };
        let bound = some_bound(&limit.tolerance);
        let half_width = width(&limit.tolerance).map(|(_, half)| half);
        let reading = self.readings.get(name);
        let expanded = weighed.and_then(|weighed| Quantity::new(weighed.expanded, bound?.dimension()).ok());
        let needs = step.needs.get(name).copied();
        let decidable = needs.is_none_or(|needs| expanded.is_some_and(|expanded| expanded.si() <= needs.si()));
        let ratio = weighed.and_then(|weighed| weighed.ratio);
        let terms = match (reading, bound, weighed) {
            (Some(reading), Some(bound), Some(_)) => {
                let terms = self.counted(place, limit, reading, bound.si());
                terms.unwrap_or_default()
            }
            _ => Vec::new(),
        };
        Fitness {
            step: step.head.number,
            id: step.head.id.clone(),
            name: name.to_owned(),
            pass: act.pass.clone(),
            key: limit.key.clone(),
            limit: limit.clone(),
            points: reading.map(|reading| reading.points.clone()).unwrap_or_default(),
            expanded,
            at_best: None,
            half_width,
            ratio,
            left: weighed.and_then(|weighed| weighed.left),
            needs,
            decidable,
            decides: match (expanded, weighed) {
                (Some(_), Some(_)) if !decidable => Decides::No,
                (_, Some(weighed)) => weighed.decides,
                (_, None) => Decides::OnlyWhenRead,
            },
            says: says(expanded, half_width, ratio, (needs, decidable), &limit.unit),
            terms,
            unknown,
        }
    }

    /// Of several passes the least fit is kept.
    pub(super) fn keep(&mut self, fitness: Fitness) {
        let place = (fitness.step, fitness.name.clone(), fitness.key.clone());
        match self.at.get(&place) {
            None => {
                self.at.insert(place, self.found.len());
                self.found.push(fitness);
            }
            Some(&index) => {
                let old = &self.found[index];
                let narrower = matches!((fitness.ratio, old.ratio), (Some(new), Some(old)) if new < old);
                if fitness.decides > old.decides || (fitness.decides == old.decides && narrower) {
                    self.found[index] = fitness;
                }
            }
        }
    }
}
