//! What fitting is given.

use crate::files::bench::BenchFile;
use crate::files::driver::DriverFile;
use crate::files::item::ItemFile;
use crate::files::limits::LimitsFile;
use crate::files::sequence::SequenceFile;
use pilotage_evidence::DecisionRule;
use pilotage_evidence::heading::InputFile;
use std::collections::BTreeMap;

/// The files that are fitted together, each read without a problem.
#[derive(Debug, Clone, Copy)]
pub struct FitRequest<'a> {
    /// The sequence.
    pub sequence: &'a SequenceFile,
    /// The item.
    pub item: &'a ItemFile,
    /// The bench.
    pub bench: &'a BenchFile,
    /// Drivers by their name.
    pub drivers: &'a BTreeMap<String, DriverFile>,
    /// The chosen limit set.
    pub limits: &'a LimitsFile,
    /// How uncertainty enters verdicts.
    pub decision_rule: DecisionRule,
    /// The files behind all this, for the heading.
    pub inputs: &'a [InputFile],
}
