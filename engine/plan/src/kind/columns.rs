//! The columns of a table of points, and short forms for its lines.
//!
//! A pattern may hold one placeholder in brackets: `[pair]`, `[conductor]`, `[pole]`, `[core]`, `[contact_pair]`, `[dc_pair]`,
//! `[dc_conductor]` or `[insulated]`; which
//! ones exist on the item at hand follows from its nameplate.

use pilotage_core::Dimension;

/// What a point holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// A quantity of this dimension.
    Amount(Dimension),
    /// One of these words.
    Words(&'static [&'static str]),
}

/// One line of the table.
#[allow(clippy::struct_excessive_bools, reason = "each is a column of the table")]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PointShape {
    /// The point, with a placeholder in brackets where it has one.
    pub pattern: &'static str,
    /// What it holds.
    pub holds: Holds,
    /// Whether a sequence may set it.
    pub set: bool,
    /// Whether a sequence may read it.
    pub read: bool,
    /// Whether samples of it may be captured.
    pub capture: bool,
    /// Whether it is tied to mains: served only by a differential or isolated connection.
    pub mains: bool,
    /// Whether it may be read only in *isolated*.
    pub isolated_only: bool,
    /// Whether the tool needs it to keep people from harm: without it nothing is fitted.
    pub needed: bool,
    /// What it is, for people.
    pub meaning: &'static str,
}

pub(super) const PLAIN: PointShape = PointShape {
    pattern: "",
    holds: Holds::Words(&[]),
    set: false,
    read: false,
    capture: false,
    mains: false,
    isolated_only: false,
    needed: false,
    meaning: "",
};

pub(super) const fn switch(
    pattern: &'static str,
    words: &'static [&'static str],
    needed: bool,
    meaning: &'static str,
) -> PointShape {
    PointShape {
        set: true,
        ..input(pattern, words, needed, meaning)
    }
}

pub(super) const fn input(
    pattern: &'static str,
    words: &'static [&'static str],
    needed: bool,
    meaning: &'static str,
) -> PointShape {
    PointShape {
        pattern,
        holds: Holds::Words(words),
        read: true,
        needed,
        meaning,
        ..PLAIN
    }
}

pub(super) const fn set_amount(pattern: &'static str, dimension: Dimension, meaning: &'static str) -> PointShape {
    PointShape {
        pattern,
        holds: Holds::Amount(dimension),
        set: true,
        meaning,
        ..PLAIN
    }
}

pub(super) const fn read_amount(pattern: &'static str, dimension: Dimension, meaning: &'static str) -> PointShape {
    PointShape {
        pattern,
        holds: Holds::Amount(dimension),
        read: true,
        meaning,
        ..PLAIN
    }
}

pub(super) const fn mains(shape: PointShape) -> PointShape {
    PointShape { mains: true, ..shape }
}

pub(super) const fn needed(shape: PointShape) -> PointShape {
    PointShape { needed: true, ..shape }
}

pub(super) const fn isolated_only(shape: PointShape) -> PointShape {
    PointShape {
        isolated_only: true,
        ..shape
    }
}

pub(super) const fn captured(pattern: &'static str, dimension: Dimension, meaning: &'static str) -> PointShape {
    PointShape {
        pattern,
        holds: Holds::Amount(dimension),
        capture: true,
        meaning,
        ..PLAIN
    }
}

pub(super) const V: Dimension = Dimension::VOLTAGE;
pub(super) const A: Dimension = Dimension::CURRENT;
pub(super) const W: Dimension = Dimension::POWER;
pub(super) const OHM: Dimension = Dimension::RESISTANCE;
