//! Tests of the real binary.
