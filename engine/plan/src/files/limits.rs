//! Limits: tolerances with their sources.

use crate::source::{Formula, Sp, Span};
use pilotage_evidence::SourceStatus;

/// `pilotage: limits/1`
#[derive(Debug, Clone, PartialEq)]
pub struct LimitsFile {
    /// `name`, by which the set is chosen.
    pub name: Sp<String>,
    /// `title`
    pub title: Sp<String>,
    /// `standard`
    pub standard: Sp<String>,
    /// `edition`
    pub edition: Sp<String>,
    /// `limits`, in order.
    pub limits: Vec<LimitText>,
}

/// One limit.
#[derive(Debug, Clone, PartialEq)]
pub struct LimitText {
    /// Its key, e.g. `pilot.generator_window_B`.
    pub key: Sp<String>,
    /// `title`
    pub title: String,
    /// `unit` to print in.
    pub unit: Sp<String>,
    /// The comparison.
    pub tolerance: ToleranceText,
    /// `standard` where it differs from the set's.
    pub standard: Option<String>,
    /// `edition` where it differs from the set's.
    pub edition: Option<String>,
    /// `clause`
    pub clause: Option<String>,
    /// `status`
    pub status: SourceStatus,
    /// `by`: by whom it was restated.
    pub by: Option<String>,
    /// `derivation`: how it was calculated, for people.
    pub derivation: Option<String>,
    /// `note`
    pub note: Option<String>,
    /// Where it stands.
    pub span: Span,
}

/// The comparison words, bounds still as written (they may use nameplate values).
#[derive(Debug, Clone, PartialEq)]
pub enum ToleranceText {
    /// `at_least`
    AtLeast(Formula),
    /// `at_most`
    AtMost(Formula),
    /// `between: [low, high]`
    Between(Formula, Formula),
    /// `within: {of, by}`; `by` is a difference, or a ratio of `of`.
    Within {
        /// The middle.
        of: Formula,
        /// Half the width.
        by: Formula,
    },
    /// `any_of`
    AnyOf(Vec<Formula>),
}
