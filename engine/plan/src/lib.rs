//! From YAML text to a program fitted to one item and one bench.
//!
//! | module | holds |
//! | --- | --- |
//! | [`source`] | texts and places in them |
//! | [`files`] | what each kind of file says, with every name still as written |
//! | [`program`] | the sequence fitted to one item and one bench: a flat list of acts |

pub mod files;
pub mod program;
pub mod source;
