//! JUnit and CSV made from the plain document of a record, and the manifest of a folder of reports.
//!
//! | module | holds |
//! | --- | --- |
//! | [`junit`] | a JUnit file; nothing inconclusive is ever green |
//! | [`csv`] | one row a judgement, harmless for any spreadsheet |
//! | [`text`] | texts made safe for XML and for spreadsheets |
//! | [`manifest`] | what lies in a folder of reports, and the record that it was made from |

pub mod csv;
pub mod hook_up;
pub mod junit;
pub mod manifest;
pub mod text;
