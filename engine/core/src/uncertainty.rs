//! Budgets: terms of many sources to one standard uncertainty, its degrees of freedom and an expanded uncertainty.

use crate::measured::{Contribution, Uncertainty};
use std::collections::BTreeMap;

/// The combined standard uncertainty in coherent SI units; `None` where it is unknown (JCGM 100, eq. 10 and 16: terms of
/// one source are added with their signs, different sources as squares).
pub fn standard(uncertainty: &Uncertainty) -> Option<f64> {
    match uncertainty {
        Uncertainty::Unknown(_) => None,
        Uncertainty::Known(terms) => Some(root_sum(merged(terms).iter())),
    }
}

/// The uncertainty of a result from its inputs and the slopes towards them (JCGM 100, 5.1.2). Unknown stays unknown.
pub fn propagate(inputs: &[(f64, &Uncertainty)]) -> Uncertainty {
    let mut terms = Vec::new();
    for (slope, input) in inputs {
        match input {
            Uncertainty::Unknown(why) => return Uncertainty::Unknown(why.clone()),
            Uncertainty::Known(own) => terms.extend(own.iter().map(|term| Contribution {
                standard: slope * term.standard,
                ..term.clone()
            })),
        }
    }
    let terms = merged(&terms);
    if terms.iter().all(|term| term.standard.is_finite()) {
        Uncertainty::Known(terms)
    } else {
        Uncertainty::Unknown("a contribution is too large for a number".to_owned())
    }
}

/// One term for each source, in the order of the sources' names; signed terms of one source add. Where they disagree about
/// degrees of freedom, the fewest count.
pub fn merged(terms: &[Contribution]) -> Vec<Contribution> {
    let mut sources: BTreeMap<&str, Contribution> = BTreeMap::new();
    for term in terms {
        match sources.get_mut(term.source.as_str()) {
            None => {
                sources.insert(&term.source, term.clone());
            }
            Some(known) => {
                known.standard += term.standard;
                known.degrees_of_freedom = fewest(known.degrees_of_freedom, term.degrees_of_freedom);
            }
        }
    }
    sources.into_values().collect()
}

fn fewest(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    match (a, b) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (one, other) => one.or(other),
    }
}

fn root_sum<'a>(terms: impl Iterator<Item = &'a Contribution>) -> f64 {
    terms.fold(0.0, |sum, term| libm::hypot(sum, term.standard))
}
