//! The command `pilotage`.
fn main() {}
