//! Quantities with units, uncertainty, checked expressions, pulse analysis: pure computation.
//!
//! | module | holds |
//! | --- | --- |
//! | [`dimension`] | the exponents of the seven SI base quantities |
//! | [`unit`] | the table of units that files, people and instruments may use |
//! | [`expr`] | expressions over quantities, checked for dimension |
//! | [`quantity`] | a finite number with its dimension |
//! | [`measured`] | a quantity with its uncertainty, or the reason why there is no value |
//! | [`tolerance`] | the comparison words of a limit |
//! | [`time`] | the run's own clock reading |

pub mod dimension;
pub mod expr;
pub mod measured;
pub mod quantity;
pub mod time;
pub mod tolerance;
pub mod unit;

pub use dimension::Dimension;
pub use expr::{Expr, ExprError};
pub use measured::{Contribution, Datum, Measured, NoValue, Uncertainty};
pub use quantity::Quantity;
pub use time::RunTime;
pub use tolerance::Tolerance;
pub use unit::Unit;
