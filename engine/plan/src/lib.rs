//! From YAML text to a program fitted to one item and one bench.
//!
//! | module | holds |
//! | --- | --- |
//! | [`source`] | texts and places in them |
//! | [`problem`] | what is wrong with a file, where, and how to mend it |
//! | [`files`] | what each kind of file says, with every name still as written |
//! | [`energy`] | which orders are quiet and which energise |
//! | [`fit`](mod@fit) | a sequence fitted to one item and one bench |
//! | [`program`] | the sequence fitted to one item and one bench: a flat list of acts |

pub mod energy;
pub mod files;
pub mod fit;
pub mod problem;
pub mod program;
pub mod source;
