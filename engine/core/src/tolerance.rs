//! The comparison words of a limit, with their bounds worked out.

use crate::quantity::Quantity;
use serde::{Deserialize, Serialize};

/// A tolerance whose bounds are numbers. Bounds belong to the accepted side.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Tolerance {
    /// Not below this.
    AtLeast(Quantity),
    /// Not above this.
    AtMost(Quantity),
    /// Not below the first and not above the second. `within: {of, by}` becomes this.
    Between(Quantity, Quantity),
    /// Equal to one of these (choices and codes, not measured numbers).
    AnyOf(Vec<Quantity>),
}
