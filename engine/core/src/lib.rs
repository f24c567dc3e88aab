//! Quantities with units, uncertainty, checked expressions, pulse analysis: pure computation.
//!
//! | module | holds |
//! | --- | --- |
//! | [`dimension`] | the exponents of the seven SI base quantities |
//! | [`mod@unit`] | the table of units that files, people and instruments may use |
//! | [`quantity`] | a finite number with its dimension |
//! | [`mod@format`] | quantities as people read them |
//! | [`expr`] | expressions over quantities, checked for dimension |
//! | [`measured`] | a quantity with its uncertainty, or the reason why there is no value |
//! | [`uncertainty`] | budgets: combined, expanded, degrees of freedom |
//! | [`normal`], [`student`] | the two distributions that budgets and decision rules need |
//! | [`pulse`] | levels, edges, frequency and duty of a captured pulse |
//! | [`power`] | power, harmonics, ripple, inrush and responses from sampled voltage and current |
//! | [`frames`] | frames of a CAN bus: signals, checksums, counters, supervision |
//! | [`signal`] | tracks, envelope and events of a captured signal |
//! | [`tolerance`] | the comparison words of a limit |
//! | [`pilot`] | how a duty cycle says a current, the drop of the vehicle's diode |
//! | [`time`] | the run's own clock reading |

mod decimal;
pub mod dimension;
pub mod expr;
pub mod format;
pub mod frames;
pub mod measured;
pub mod normal;
mod number;
pub mod pilot;
pub mod power;
pub mod pulse;
pub mod quantity;
pub mod signal;
pub mod student;
pub mod time;
pub mod tolerance;
pub mod uncertainty;
pub mod unit;

pub use dimension::Dimension;
pub use expr::{Expr, ExprError};
pub use measured::{Contribution, Datum, Measured, NoValue, Uncertainty};
pub use quantity::Quantity;
pub use time::RunTime;
pub use tolerance::Tolerance;
pub use unit::Unit;
