//! Each kind of act.
