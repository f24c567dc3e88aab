//! What can be seen of a pilot, whichever side of it the item is.

use super::columns::{PointShape, V, captured, read_amount};
use pilotage_core::Dimension;

pub(super) const POINTS: &[PointShape] = &[
    captured("pilot", V, "waveform of the pilot"),
    read_amount("pilot.voltage", V, "mean voltage of the pilot"),
    read_amount("pilot.high", V, "high level of the pilot"),
    read_amount("pilot.low", V, "low level of the pilot"),
    read_amount("pilot.frequency", Dimension::FREQUENCY, "frequency of the pilot"),
    read_amount("pilot.duty", Dimension::NONE, "duty of the pilot"),
];
