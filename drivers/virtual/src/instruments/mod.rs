//! The virtual instruments: what the bench's links talk to. They speak SCPI outwards and ask [`crate::physics`] inwards.
//!
//! | module | holds |
//! | --- | --- |
//! | `responder` | the two-phase contract between a link and an instrument |
//! | `bench` | the instruments of `sequences/benches/`, by the kind of item that stands there |
//! | [`flaws`] | what may be wrong with the instruments themselves |
//! | `recorder` | what records in the background, for the capture instrument and the power analyser |
//! | `frame` | one instrument: intake, steps in time, reply |
//! | `inputs` | where the inputs of the capture instrument are led |
//! | `syntax` | what the `scpi` crate hands over: orders, and numbers read in f64 |
//! | `common` | the 13 mandatory commands of IEEE 488.2 and `SYSTem` |
//! | `status` | status bytes and the bounded error queue |
//! | `accuracy`, `noise` | errors within what the driver files state, drawn by seed |
//! | `measuring` | what a multimeter makes of a voltage, effect by effect |
//! | `reply` | how numbers are written |
//! | `meter`, `capture`, `front`, `quick`, `load`, `source`, `relay_box`, `guard`, `reference`, `thermometer`, `micro_ohm`, `insulation`, `lcr`, `current_source`, `fixture`, `pilot_source`, `dc_supply`, `analyser`, `sink`, `switch_box`, `coolant`, `pe_sensor` | one model each |
//!
//! The crate `scpi` does the tokens, the tree of headers, the error numbers and the formatting of replies. What it cannot
//! express is done here, each with its case in `tests/instruments/syntax.rs`:
//! * An empty line runs as nothing in the crate; here it is −102, as a stray terminator is a fault of the sender.
//! * White space before a header is −102 in the crate; IEEE 488.2 7.1.2.2 allows it, so lines are trimmed first.
//! * Amounts with suffix are `f32` in the crate (0.3 becomes 0.30000001); here they are read from the token in f64.
//! * A handler runs before a surplus parameter is noticed; here every handler refuses surplus parameters itself, so that
//!   `CURRent 5,6` sets nothing.
//! * `CURRent ,5` passes as `CURRent 5` in the crate, since a separator before the first parameter is skipped; so it does here.
//! * Any error ends a line in the crate; only command errors (−1xx) may, so execution errors become orders of their own.
//! * A handler cannot wait; so handlers only note orders, which are executed later, each at its time.

mod accuracy;
mod analyser;
mod bench;
mod capture;
mod common;
mod coolant;
mod current_source;
mod dc_supply;
mod fixture;
pub mod flaws;
mod frame;
mod front;
mod guard;
mod inputs;
mod insulation;
mod lcr;
mod load;
mod measuring;
mod meter;
mod micro_ohm;
mod noise;
mod pe_sensor;
mod pilot_source;
mod quick;
mod recorder;
mod reference;
mod relay_box;
mod relays;
mod reply;
mod responder;
mod sink;
mod source;
mod status;
mod switch_box;
mod syntax;
mod thermometer;

pub use bench::{bench, bench_with};
pub(crate) use noise::mix;
pub use responder::{Outcome, Pending, Responder};
