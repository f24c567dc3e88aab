//! Frames of a CAN bus: what is sent to the item and what comes from it, with the places where it was written.

use crate::source::{Formula, Sp, Span};
use pilotage_core::frames::Map;

/// `pilotage: frames/1`
#[derive(Debug, Clone, PartialEq)]
pub struct FramesFile {
    /// `name`, by which benches refer to it.
    pub name: Sp<String>,
    /// `title`
    pub title: Sp<String>,
    /// `time_stamps`: limit of error.
    pub time_stamps: Option<Formula>,
    /// What the frames are.
    pub map: Map,
    /// Where they were written, in the order of the map.
    pub places: Vec<FramePlaces>,
}

/// Where a frame was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FramePlaces {
    /// Its name.
    pub frame: Span,
    /// Names of its signals, in order.
    pub signals: Vec<Span>,
}
