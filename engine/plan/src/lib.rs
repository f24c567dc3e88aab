//! From YAML text to a program fitted to one item and one bench.
//!
//! | module | holds |
//! | --- | --- |
//! | [`source`] | texts and places in them |
//! | [`sources`] | what contributions to an uncertainty are called |
//! | [`problem`] | what can be wrong with a file, with place and mend |
//! | [`render`] | problems written for people |
//! | [`tree`] | YAML 1.2 as a tree of values with their places |
//! | [`shape`] | the table of shapes, which drives the checks and the JSON Schema |
//! | [`lower`] | from text to the typed files |
//! | [`files`] | what each kind of file says, with every name still as written |
//! | [`kind`] | what is special for each kind of item: points, energy table, make safe, what is proven dead |
//! | [`contactor`] | what the hard-wired stop opens |
//! | [`energy`] | which orders are quiet and which energise |
//! | [`frame_driver`] | the driver of an interface to a bus, made from a file of frames |
//! | [`fit`](mod@fit) | a sequence fitted to one item and one bench |
//! | [`points_used`](mod@points_used) | what a program does with points |
//! | [`program`] | the sequence fitted to one item and one bench: a flat list of acts |
//! | [`schema`] | JSON Schema of each kind of file, for editors |

pub mod contactor;
pub mod energy;
pub mod files;
pub mod fit;
pub mod frame_driver;
pub mod kind;
pub mod lower;
pub mod points_used;
pub mod problem;
pub mod program;
pub mod render;
pub mod schema;
pub mod shape;
pub mod source;
pub mod sources;
pub mod tree;

pub use lower::{AnyFile, FileKind, read, read_bytes};
pub use points_used::{Touch, points_used, touches};
pub use problem::Problem;
