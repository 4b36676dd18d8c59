//! Logs for whoever runs the server. They hold ids, counts and durations, never a person: no name, phone, answer,
//! photo, link or address.

use tracing::Level;
use tracing::Metadata;
use tracing::Subscriber;
use tracing_subscriber::EnvFilter;
use tracing_subscriber::Layer;
use tracing_subscriber::filter::FilterExt;
use tracing_subscriber::filter::filter_fn;
use tracing_subscriber::fmt::MakeWriter;
use tracing_subscriber::layer::SubscriberExt;

/// Starts logging to standard error; `RUST_LOG=closewatch=info` adds a line for every answer.
pub fn start() {
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("warn"));
    // A second start would keep the first: nothing is lost by it.
    let _ = tracing::subscriber::set_global_default(listener(filter, std::io::stderr));
}

/// What listens, by this filter: libraries are heard only where they warn, for at lower levels some of them write down addresses
/// they were asked for, and with them links.
pub fn listener<W>(filter: EnvFilter, writer: W) -> impl Subscriber + Send + Sync
where
    W: for<'writer> MakeWriter<'writer> + Send + Sync + 'static,
{
    let heard = filter.and(filter_fn(may_be_heard));
    tracing_subscriber::registry()
        .with(tracing_subscriber::fmt::layer().with_writer(writer).with_filter(heard))
}

fn may_be_heard(about: &Metadata<'_>) -> bool {
    *about.level() <= Level::WARN || about.target().starts_with("closewatch")
}
