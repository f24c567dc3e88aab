//! The virtual instruments behind links, clocks and the virtual person.
//!
//! | module | holds |
//! | --- | --- |
//! | [`clock`] | run time on tokio's clock, real or paused |
//! | [`devices`] | virtual instruments as devices behind links in memory |
//! | [`frames`] | the virtual bench's interface to a bus of frames |
//! | [`interrupt`] | Ctrl-C for a run in virtual time |
//! | [`person`] | the virtual person as one of the people of a run |
//! | [`setup`] | nameplate, item and defect made into the parameters of a virtual item |
//! | [`traffic`] | what stands before the links: a trace of the bytes, faults, a trace played back |
//! | [`tracefile`] | the file of a trace |

pub mod clock;
pub mod devices;
pub mod frames;
pub mod interrupt;
pub mod person;
pub mod setup;
pub mod tracefile;
pub mod traffic;
