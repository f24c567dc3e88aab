//! Names of points looked up in the table of a kind: what may be set, read and captured, in which unit or words.
//!
//! A pattern may hold one placeholder in brackets; which conductors exist on the item at hand follows from its nameplate.

use super::near;
use crate::kind::{KindTable, table_of};
use pilotage_evidence::ItemKind;

pub use crate::kind::{Holds, PointShape};

const PAIRS: &[&str] = &["L-N", "L-PE", "N-PE", "L1-L2", "L1-PE", "L2-PE"];
const CONDUCTORS: &[&str] = &["L", "L1", "L2"];
const POLES: &[&str] = &["L", "N", "L1", "L2"];
const CORES: &[&str] = &["L", "N", "PE", "CP", "PP", "L1", "L2"];
const CONTACT_PAIRS: &[&str] = &[
    "L-N", "L-PE", "N-PE", "L-CP", "N-CP", "L-PP", "N-PP", "CP-PE", "PP-PE", "CP-PP", "L1-L2", "L1-PE", "L2-PE",
    "L1-CP", "L2-CP", "L1-PP", "L2-PP",
];
const DC_PAIRS: &[&str] = &["plus-minus", "plus-PE", "minus-PE"];
const DC_CONDUCTORS: &[&str] = &["plus"];
/// Sides of a charger: `ac` and `dc` are all pins of one joined, `PE` is the housing.
const INSULATED: &[&str] = &["ac-PE", "plus-PE", "minus-PE", "ac-dc"];

/// The points of a kind of item; none where the kind has no table yet.
pub fn points_of(kind: ItemKind) -> impl Iterator<Item = &'static PointShape> + Clone {
    table_of(kind).into_iter().flat_map(KindTable::all_points)
}

/// A point of the table and what stood in its brackets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Point<'p> {
    /// The line of the table.
    pub shape: &'static PointShape,
    /// What stood in the brackets.
    pub bracket: Option<&'p str>,
}

/// Finds a point, or the nearest name that exists; [`point_of`] for whom that name is nothing.
pub fn find_point(kind: ItemKind, name: &str) -> Result<Point<'_>, Option<String>> {
    point_of(kind, name).ok_or_else(|| near::nearest(name, all_names(kind)))
}

/// The point of that name, if the kind has it.
pub fn point_of(kind: ItemKind, name: &str) -> Option<Point<'_>> {
    table_of(kind)?
        .all_points()
        .find_map(|shape| matches_pattern(shape, name))
}

/// The lines of other kinds of item for a point that this kind does not have: one bench may serve several kinds.
pub(crate) fn of_other_kinds(kind: ItemKind, name: &str) -> Vec<&'static PointShape> {
    [
        ItemKind::WallUnit,
        ItemKind::OnboardCharger,
        ItemKind::Inlet,
        ItemKind::CableAssembly,
    ]
    .into_iter()
    .filter(|other| *other != kind)
    .filter_map(|other| point_of(other, name))
    .map(|point| point.shape)
    .collect()
}

/// Every point of a kind with its placeholders filled in.
pub fn all_names(kind: ItemKind) -> Vec<String> {
    points_of(kind).flat_map(names_of).collect()
}

/// One pattern with its placeholder filled in.
pub fn names_of(shape: &PointShape) -> Vec<String> {
    match split_pattern(shape.pattern) {
        None => vec![shape.pattern.to_owned()],
        Some((before, placeholder, after)) => allowed(placeholder)
            .iter()
            .map(|word| format!("{before}[{word}]{after}"))
            .collect(),
    }
}

fn matches_pattern<'p>(shape: &'static PointShape, name: &'p str) -> Option<Point<'p>> {
    let Some((before, placeholder, after)) = split_pattern(shape.pattern) else {
        return (shape.pattern == name).then_some(Point { shape, bracket: None });
    };
    let inside = name
        .strip_prefix(before)?
        .strip_prefix('[')?
        .strip_suffix(after)?
        .strip_suffix(']')?;
    allowed(placeholder).contains(&inside).then_some(Point {
        shape,
        bracket: Some(inside),
    })
}

fn split_pattern(pattern: &'static str) -> Option<(&'static str, &'static str, &'static str)> {
    let (before, rest) = pattern.split_once('[')?;
    let (placeholder, after) = rest.split_once(']')?;
    Some((before, placeholder, after))
}

fn allowed(placeholder: &str) -> &'static [&'static str] {
    match placeholder {
        "pair" => PAIRS,
        "conductor" => CONDUCTORS,
        "core" => CORES,
        "contact_pair" => CONTACT_PAIRS,
        "dc_pair" => DC_PAIRS,
        "dc_conductor" => DC_CONDUCTORS,
        "insulated" => INSULATED,
        _ => POLES,
    }
}
