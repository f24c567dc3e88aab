//! Logs by `tracing`, on the standard error, without colours in a pipe.

use std::io::IsTerminal;
use tracing_subscriber::EnvFilter;

/// Starts logging at a level, e.g. `debug`, or by directives. What cannot be read logs errors only.
pub fn start(level: &str) {
    let filter = EnvFilter::try_new(level).unwrap_or_else(|_| EnvFilter::new("error"));
    let colours = std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none();
    let started = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_ansi(colours)
        .with_writer(std::io::stderr)
        .try_init();
    if started.is_err() {
        tracing::warn!("logging was started before");
    }
}
