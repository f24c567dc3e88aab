//! What the hard-wired stop opens: as the table of a kind names it, and as it is proven on one bench.

use crate::program::ReadSpec;

/// A contactor between a source of the bench and the item, that the hard-wired stop opens, and the open guard of the enclosure too.
#[derive(Debug, PartialEq, Eq)]
pub struct Contactor {
    /// The point that tells whether it is open.
    pub point: &'static str,
    /// What it is called.
    pub name: &'static str,
    /// Where not every bench needs it: the point that a bench with it serves, and what the source behind it can do then.
    pub with: Option<(&'static str, &'static str)>,
    /// What the source behind it shows at itself, where it can do that.
    pub shows: Option<&'static str>,
}

/// A contactor that a bench has.
#[derive(Debug, Clone, PartialEq)]
pub struct StopOpens {
    /// The contactor.
    pub contactor: &'static Contactor,
    /// What the source behind it shows at itself, where the bench can read it.
    pub shows: Option<ReadSpec>,
}
