//! A defect: a named change of parameters of the virtual item, with severities.

use crate::source::{Formula, Sp};
use pilotage_evidence::{ItemKind, Side};

/// Parameters of the virtual item and their values.
pub type Changes = Vec<(Sp<String>, Formula)>;

/// `pilotage: defect/1`
#[derive(Debug, Clone, PartialEq)]
pub struct DefectFile {
    /// `id` of the catalogue, e.g. `W03`.
    pub id: Sp<String>,
    /// `title`
    pub title: Sp<String>,
    /// `item`
    pub item: Sp<ItemKind>,
    /// `noticed_by`: step ids that must reveal it; the first that a run reaches is the claimed step.
    pub noticed_by: Vec<Sp<String>>,
    /// `side` that is right.
    pub side: Side,
    /// `verdict` that the claimed step must give: `fail`, or `inconclusive` for an item that waits.
    pub inconclusive: bool,
    /// `severities`: changes for each; a binary defect has `plain` only.
    pub severities: Vec<(Severity, Changes)>,
}

/// How far a defect stands outside its tolerance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// 1.2 × the tolerance beyond it.
    Edge,
    /// As it is met in practice.
    Plain,
    /// 5 × the tolerance beyond it.
    Gross,
}
