//! Logs for whoever runs the server. They hold ids, counts and durations, never a person: no name, phone, answer,
//! photo, link or address.

use tracing_subscriber::EnvFilter;

/// Starts logging to standard error; `RUST_LOG=closewatch=info` adds a line for every answer.
pub fn start() {
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("warn"));
    tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).init();
}
