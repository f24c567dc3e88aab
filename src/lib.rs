//! The jobs that join the parts: what the command's verbs do.
//!
//! | module | holds |
//! | --- | --- |
//! | [`args`] | what can be typed |
//! | [`challenge`] | many rehearsals: does a step notice each defect? |
//! | [`verbs`] | one file a verb |
//! | [`shipped`] | files by name: given, beside the sequence, embedded |
//! | [`fitting`] | all files of a run, read and fitted |
//! | [`rehearsal`] | a run on the virtual bench in virtual time |
//! | [`wiring`] | the virtual instruments behind links, clocks and the virtual person |
//! | [`bench_fit`] | what a bench can do with an item, before plugging in; the hook-up page |
//! | [`needs`] | what the bench cannot decide, in words |
//! | [`claims`] | which step must notice a defect |
//! | [`folder`] | the folder of a run: journal, record, reports |
//! | [`forecast`] | time left, and when a person is needed next |
//! | [`screen`] | events as lines for people |
//! | [`failure`] | what can go wrong before and after a run, with its exit code |
//! | [`people`] | persons at a bench: at the terminal, or virtual over TCP |
//! | [`serving`] | the virtual bench over TCP |
//! | [`output`] | data on the standard output, messages on the standard error |
//! | [`times`] | how long each part of a job took |
//! | [`text`] | untrusted text made harmless for a terminal |

pub mod args;
pub mod bench_fit;
pub mod challenge;
pub mod claims;
pub mod failure;
pub mod fitting;
pub mod folder;
pub mod forecast;
pub mod logging;
pub mod needs;
pub mod output;
pub mod people;
pub mod rehearsal;
pub mod screen;
pub mod serving;
pub mod shipped;
pub mod text;
pub mod times;
pub mod verbs;
pub mod wiring;
