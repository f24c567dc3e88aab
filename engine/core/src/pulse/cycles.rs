//! Period, width and duty from the moments when a level is crossed.

use super::blocks::Blocks;
use super::edges::{Transition, crossing, transitions};
use super::lack::Lack;

/// A crossing of a level, counted in samples.
#[derive(Debug, Clone, Copy)]
pub(super) struct Crossed {
    pub(super) at: f64,
    pub(super) rising: bool,
}

/// The whole cycles between rising crossings of one level, in samples.
#[derive(Debug, Clone)]
pub(super) struct Cycles {
    pub(super) level: f64,
    crossed: Vec<Crossed>,
    /// Fewest samples inside an edge.
    fewest: usize,
}

/// A mean over cycles with what its standard uncertainty is made of, both in the mean's unit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mean {
    pub(super) value: f64,
    /// Standard deviation of the single cycles.
    pub(super) spread: f64,
    pub(super) count: usize,
}

impl Cycles {
    /// Crossings of `level` by transitions between the thresholds beside it, on edges with at least so many samples.
    pub(super) fn at(blocks: &Blocks<'_>, level: f64, lower: f64, upper: f64, on_edge: usize) -> Self {
        let own = Self::of(blocks.samples, &transitions(blocks, lower, upper), level);
        Self {
            fewest: own.fewest.max(on_edge),
            ..own
        }
    }

    /// Crossings of `level` by transitions already found.
    pub(super) fn of(samples: &[f64], transitions: &[Transition], level: f64) -> Self {
        let crossed = transitions.iter().map(|transition| Crossed {
            at: crossing(samples, *transition, level),
            rising: transition.rising,
        });
        Self {
            level,
            crossed: crossed.collect(),
            fewest: fewest_inside(transitions.iter()),
        }
    }

    /// Mean period in samples, from the first to the last crossing of the direction that comes more often.
    pub(super) fn period(&self) -> Result<Mean, Lack> {
        let rising = self.moments(true);
        let falling = self.moments(false);
        let moments = if rising.len() >= falling.len() { rising } else { falling };
        let periods: Vec<f64> = moments.windows(2).map(|pair| pair[1] - pair[0]).collect();
        mean(&periods).ok_or_else(|| self.too_few(0))
    }

    /// Mean time above the level in samples.
    pub(super) fn width(&self) -> Result<Mean, Lack> {
        let pairs = self.crossed.windows(2).filter(|pair| pair[0].rising && !pair[1].rising);
        let widths: Vec<f64> = pairs.map(|pair| pair[1].at - pair[0].at).collect();
        mean(&widths).ok_or_else(|| self.too_few(0))
    }

    /// Time above the level as a fraction of the period, cycle by cycle.
    pub(super) fn duty(&self) -> Result<Mean, Lack> {
        let cycles = self.crossed.windows(3).filter(|cycle| cycle[0].rising);
        let duties: Vec<f64> = cycles
            .map(|cycle| (cycle[1].at - cycle[0].at) / (cycle[2].at - cycle[0].at))
            .collect();
        mean(&duties).ok_or_else(|| self.too_few(0))
    }

    /// Standard uncertainty of one crossing in samples.
    pub(super) fn crossing_uncertainty(&self) -> f64 {
        crossing_uncertainty(self.fewest)
    }

    /// Fewest samples inside an edge.
    pub(super) fn fewest(&self) -> usize {
        self.fewest
    }

    /// The error for too few cycles.
    pub(super) fn too_few(&self, have: usize) -> Lack {
        Lack::TooFewCycles {
            have,
            need: have + 1,
            level: self.level,
        }
    }

    fn moments(&self, rising: bool) -> Vec<f64> {
        let wanted = self.crossed.iter().filter(|crossed| crossed.rising == rising);
        wanted.map(|crossed| crossed.at).collect()
    }
}

/// Fewest samples that one of the transitions has between its thresholds; 0 of none.
pub(super) fn fewest_inside<'a>(transitions: impl Iterator<Item = &'a Transition>) -> usize {
    transitions.map(|edge| edge.to - edge.from - 1).min().unwrap_or(0)
}

/// Standard uncertainty in samples of a moment interpolated on an edge with so many samples of its own: 1/√12 where the
/// moment may lie anywhere between two samples, divided by the number of samples on the edge. An exponential edge of time
/// constant τ is off by at most T²/8τ, which is 0.27·T/n for the n = 2.2·τ/T samples of its 10–90 % part.
pub(super) fn crossing_uncertainty(inside: usize) -> f64 {
    crate::uncertainty::rectangular(0.5) / inside.max(1) as f64
}

/// Mean and sample standard deviation; `None` of nothing.
pub(super) fn mean(values: &[f64]) -> Option<Mean> {
    let count = values.len();
    if count == 0 {
        return None;
    }
    let value = values.iter().sum::<f64>() / count as f64;
    let squares: f64 = values.iter().map(|one| (one - value) * (one - value)).sum();
    Some(Mean {
        value,
        spread: if count > 1 {
            (squares / (count - 1) as f64).sqrt()
        } else {
            0.0
        },
        count,
    })
}
