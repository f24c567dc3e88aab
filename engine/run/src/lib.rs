//! The runner: permits, interlocks, protections, settling, make safe.
//!
//! The engine opens no socket and no window: it is given a bench, a clock, a journal and people through the traits of
//! [`world`].

pub mod permit;
pub mod world;
