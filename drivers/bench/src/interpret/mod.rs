//! Driver files and a bench file made into tables: for each point its messages, and what its replies mean.
//!
//! | module | holds |
//! | --- | --- |
//! | [`tables`] | the tables |
//! | [`compile`] | from files to tables, with every problem at once |
//! | [`demands`] | whether the tables serve a program, and the orders that it can send |
//! | [`orders`] | those orders as bytes |
//! | [`values`] | from replies to readings with their uncertainty |
//! | [`texts`] | placeholders, joined messages, numbers as text |

pub mod compile;
pub mod demands;
pub mod orders;
pub mod tables;
pub mod texts;
pub mod values;

#[cfg(test)]
mod tests;

pub use orders::Orders;
pub use tables::{InstrumentTable, Serves, Service, Tables};

/// Something in a driver, bench or program that cannot work.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{place}: {what}: {mend}")]
pub struct Problem {
    /// `file:line`, or the point.
    pub place: String,
    /// What is wrong.
    pub what: String,
    /// How to mend it.
    pub mend: String,
}

impl Problem {
    pub(crate) fn new(place: impl Into<String>, what: impl Into<String>, mend: impl Into<String>) -> Self {
        Self {
            place: place.into(),
            what: what.into(),
            mend: mend.into(),
        }
    }
}
