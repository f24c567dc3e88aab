//! A challenge: rehearse once for each defect, severity and seed, and on healthy items at the corners of their tolerances.
//!
//! | module | holds |
//! | --- | --- |
//! | [`campaign`] | the list of rehearsals, run on all cores; the result does not depend on their number |
//! | [`corners`] | healthy items: every toleranced parameter near an end, every pair of signs |
//! | [`bound`] | the 95 % bound of a rate (Clopper–Pearson) |
//! | [`table`] | what was noticed, as lines and as JSON |
//! | [`picture`] | defects × steps as SVG |

pub mod bound;
pub mod campaign;
pub mod corners;
pub mod picture;
pub mod table;
