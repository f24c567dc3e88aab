//! Budgets: terms of many sources to one standard uncertainty, its degrees of freedom and an expanded uncertainty.

use crate::measured::{Contribution, Measured, Uncertainty};
use crate::student;

/// The coverage factor of an expanded uncertainty where nothing else is said (JCGM 100, 6.3.3: about 95 %).
pub const COVERAGE: f64 = 2.0;

/// The probability that a factor of 2 covers for a normal distribution (JCGM 100, Table G.1).
const PROBABILITY: f64 = 0.954_499_736_103_641_6;

/// What a list of terms comes to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Budget {
    /// Combined standard uncertainty in coherent SI units.
    pub standard: f64,
    /// Effective degrees of freedom, not truncated; `None` is infinitely many.
    pub degrees_of_freedom: Option<f64>,
    /// The coverage factor for 95.45 %: 2 for infinitely many degrees of freedom, else that of the t-distribution for the
    /// next lower integer (JCGM 100, G.4.1 and G.6.4).
    pub factor: f64,
    /// Factor times standard uncertainty, in coherent SI units.
    pub expanded: f64,
}

impl Budget {
    /// What an uncertainty comes to; `None` where it is unknown.
    pub fn of(uncertainty: &Uncertainty) -> Option<Self> {
        let Uncertainty::Known(terms) = uncertainty else {
            return None;
        };
        let standard = root_sum(&sources(terms));
        let degrees_of_freedom = effective_dof(terms);
        let whole = degrees_of_freedom.map(|dof| dof.floor().max(1.0));
        let factor = whole.map_or(COVERAGE, |dof| {
            student::factor(PROBABILITY, Some(dof)).unwrap_or(COVERAGE)
        });
        Some(Self {
            standard,
            degrees_of_freedom,
            factor,
            expanded: factor * standard,
        })
    }
}

impl Contribution {
    /// A term known by its standard uncertainty.
    pub fn normal(source: impl Into<String>, standard: f64) -> Self {
        Self {
            source: source.into(),
            standard,
            degrees_of_freedom: None,
        }
    }

    /// A term known by bounds ±a with nothing preferred between them: a/√3 (JCGM 100, 4.3.7).
    pub fn rectangular(source: impl Into<String>, half_width: f64) -> Self {
        Self::normal(source, rectangular(half_width))
    }

    /// What the same source brings to a result that changes so many times as much.
    #[must_use]
    pub fn times(self, slope: f64) -> Self {
        Self {
            standard: slope * self.standard,
            ..self
        }
    }

    /// The same term with so many degrees of freedom.
    #[must_use]
    pub fn with_dof(self, degrees_of_freedom: f64) -> Self {
        Self {
            degrees_of_freedom: Some(degrees_of_freedom),
            ..self
        }
    }
}

impl Measured {
    /// The expanded uncertainty (k = 2) in coherent SI units; `None` where it is unknown.
    pub fn expanded(&self) -> Option<f64> {
        expanded(&self.uncertainty)
    }

    /// The standard uncertainty in coherent SI units; `None` where it is unknown.
    pub fn standard(&self) -> Option<f64> {
        standard(&self.uncertainty)
    }
}

/// Standard uncertainty of bounds ±a, rectangular (JCGM 100, 4.3.7).
pub fn rectangular(half_width: f64) -> f64 {
    half_width / 3f64.sqrt()
}

/// Standard uncertainty of bounds ±a, triangular (JCGM 100, 4.3.9).
pub fn triangular(half_width: f64) -> f64 {
    half_width / 6f64.sqrt()
}

/// Standard uncertainty of bounds ±a, arcsine: a value that swings between them (JCGM 100, H.1.3.5).
pub fn arcsine(half_width: f64) -> f64 {
    half_width / 2f64.sqrt()
}

/// Mean of repeated readings and the term of their scatter: s/√n with n − 1 degrees of freedom (JCGM 100, 4.2.3). `None`
/// for fewer than two readings.
pub fn repeated(source: impl Into<String>, readings: &[f64]) -> Option<(f64, Contribution)> {
    let count = readings.len() as f64;
    if readings.len() < 2 {
        return None;
    }
    let mean = readings.iter().sum::<f64>() / count;
    let squares: f64 = readings.iter().map(|reading| (reading - mean) * (reading - mean)).sum();
    let standard = (squares / (count - 1.0) / count).sqrt();
    Some((mean, Contribution::normal(source, standard).with_dof(count - 1.0)))
}

/// The expanded uncertainty with k = 2 in coherent SI units; `None` where it is unknown.
pub fn expanded(uncertainty: &Uncertainty) -> Option<f64> {
    standard(uncertainty).map(|standard| COVERAGE * standard)
}

/// Effective degrees of freedom by the formula of Welch and Satterthwaite (JCGM 100, G.4), not truncated; `None` is
/// infinitely many. Terms of one source count once.
pub fn effective_dof(terms: &[Contribution]) -> Option<f64> {
    let sources = sources(terms);
    let fourth = |u: f64| u * u * u * u;
    let combined = root_sum(&sources);
    let shares: f64 = sources
        .iter()
        .filter_map(|source| Some(fourth(source.standard) / source.degrees_of_freedom?))
        .sum();
    (shares > 0.0).then(|| fourth(combined) / shares)
}

/// Covariance of two results from the sources that they share (JCGM 100, F.1.2.3).
pub fn covariance(a: &[Contribution], b: &[Contribution]) -> f64 {
    let other = sources(b);
    let shared = |name: &str| {
        other
            .iter()
            .find(|source| source.name == name)
            .map_or(0.0, |source| source.standard)
    };
    sources(a)
        .iter()
        .map(|source| source.standard * shared(source.name))
        .sum()
}

/// The combined standard uncertainty in coherent SI units; `None` where it is unknown (JCGM 100, eq. 10 and 16: terms of
/// one source are added with their signs, different sources as squares).
pub fn standard(uncertainty: &Uncertainty) -> Option<f64> {
    match uncertainty {
        Uncertainty::Unknown(_) => None,
        Uncertainty::Known(terms) => Some(root_sum(&sources(terms))),
    }
}

/// The uncertainty of a result from its inputs and the slopes towards them (JCGM 100, 5.1.2). Unknown stays unknown.
pub fn propagate(inputs: &[(f64, &Uncertainty)]) -> Uncertainty {
    let mut terms = Vec::new();
    for (slope, input) in inputs {
        match input {
            Uncertainty::Unknown(why) => return Uncertainty::Unknown(why.clone()),
            Uncertainty::Known(own) => terms.extend(own.iter().map(|term| term.clone().times(*slope))),
        }
    }
    let terms = merged(&terms);
    if terms.iter().all(|term| term.standard.is_finite()) {
        Uncertainty::Known(terms)
    } else {
        Uncertainty::Unknown("a contribution is too large for a number".to_owned())
    }
}

/// All terms of one source together.
#[derive(Clone, Copy)]
struct Source<'a> {
    name: &'a str,
    standard: f64,
    degrees_of_freedom: Option<f64>,
}

/// Each source once, in the order of their names; signed terms of one source add. Where they disagree about degrees of
/// freedom, the fewest count.
fn sources(terms: &[Contribution]) -> Vec<Source<'_>> {
    let mut all: Vec<Source<'_>> = terms
        .iter()
        .map(|term| Source {
            name: &term.source,
            standard: term.standard,
            degrees_of_freedom: term.degrees_of_freedom,
        })
        .collect();
    all.sort_by_key(|source| source.name);
    all.dedup_by(|next, known| {
        let same = next.name == known.name;
        if same {
            known.standard += next.standard;
            known.degrees_of_freedom = fewest(known.degrees_of_freedom, next.degrees_of_freedom);
        }
        same
    });
    all
}

/// One term for each source, in the order of the sources' names.
pub fn merged(terms: &[Contribution]) -> Vec<Contribution> {
    let term = |source: Source<'_>| Contribution {
        source: source.name.to_owned(),
        standard: source.standard,
        degrees_of_freedom: source.degrees_of_freedom,
    };
    sources(terms).into_iter().map(term).collect()
}

fn fewest(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    match (a, b) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (one, other) => one.or(other),
    }
}

fn root_sum(sources: &[Source<'_>]) -> f64 {
    sources
        .iter()
        .fold(0.0, |sum, source| libm::hypot(sum, source.standard))
}
