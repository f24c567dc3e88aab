//! Checks of the power side that look inside.
