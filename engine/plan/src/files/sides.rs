//! Side rules: from step outcomes to a statement about sides.

use crate::source::Sp;
use pilotage_evidence::Side;

/// `pilotage: sides/1`
#[derive(Debug, Clone, PartialEq)]
pub struct SidesFile {
    /// `title`
    pub title: Sp<String>,
    /// `rules`, in order; all that match speak.
    pub rules: Vec<SideRule>,
}

/// One rule.
#[derive(Debug, Clone, PartialEq)]
pub struct SideRule {
    /// `id`
    pub id: Sp<String>,
    /// `if_failed`: step ids of which one failed.
    pub if_failed: Vec<Sp<String>>,
    /// `if_inconclusive`: step ids of which one was inconclusive.
    pub if_inconclusive: Vec<Sp<String>>,
    /// `side`
    pub side: Side,
    /// `kind` of evidence: `level`, `time`, `swap` or `order`. Two kinds make a statement, one says "likely".
    pub kind: Sp<String>,
    /// `says`, in the technician's words.
    pub says: String,
    /// `cheapest_next`
    pub cheapest_next: String,
}
