//! What the tool must know of a kind of item before a sequence for it can be fitted: one table for each kind.
//!
//! | module | holds |
//! | --- | --- |
//! | [`table`] | what such a table consists of, and which one belongs to a kind |
//! | [`columns`] | the columns of a table of points |
//! | [`mod@terminals`] | where on the item a point is found |
//! | `common` | points and orders that every bench has |
//! | `pilot` | points of a pilot |
//! | `wall_unit` | the table of wall units |
//! | `onboard_charger`, `charger_points`, `charger_frames` | the table of on-board chargers, its points, and those of its bus |
//! | `contacts` | the tables of inlets and cable assemblies, which are contacts and cores without a will of their own |

mod charger_frames;
mod charger_points;
pub mod columns;
pub(crate) mod common;
mod contacts;
mod onboard_charger;
mod pilot;
pub mod table;
pub mod terminals;
mod wall_unit;

pub use columns::{Holds, PointShape};
pub use table::{Asks, Bound, DeadPlace, KindTable, Line, MakeSafe, Pairs, table_of};
pub use terminals::{Found, Terminal, place_words, terminals};
