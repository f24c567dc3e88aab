//! The jobs that join the parts.
