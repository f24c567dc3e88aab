//! Collects problems: each once, however many passes meet it.

use crate::problem::Problem;
use std::collections::BTreeSet;
use std::sync::Arc;

/// Problems found so far.
#[derive(Debug, Default)]
pub(crate) struct Problems {
    found: Vec<Problem>,
    seen: BTreeSet<(&'static str, Arc<str>, usize, u32)>,
}

impl Problems {
    /// Keeps a problem unless the same code was already given for the same place: unrolling meets a line many times.
    pub(crate) fn add(&mut self, problem: Problem) {
        let place = (
            problem.code,
            problem.span.file.clone(),
            problem.span.offset,
            problem.span.line,
        );
        if self.seen.insert(place) {
            self.found.push(problem);
        }
    }

    /// What was found.
    pub(crate) fn into_vec(self) -> Vec<Problem> {
        self.found
    }

    /// Whether nothing was found.
    pub(crate) fn is_empty(&self) -> bool {
        self.found.is_empty()
    }
}
