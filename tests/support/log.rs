//! Every log line, whatever its level, to be looked through.

use std::io;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::Once;

use tracing_subscriber::EnvFilter;
use tracing_subscriber::fmt::MakeWriter;

use closewatch::telemetry;

#[derive(Clone, Default)]
pub struct Log(Arc<Mutex<Vec<u8>>>);

impl io::Write for Log {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.lock().unwrap().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl<'a> MakeWriter<'a> for Log {
    type Writer = Log;

    fn make_writer(&'a self) -> Log {
        self.clone()
    }
}

impl Log {
    /// Of this process, for good: a test binary of its own.
    pub fn of_the_process() -> Log {
        let log = Log::default();
        let listener = telemetry::listener(EnvFilter::new("trace"), log.clone());
        tracing::subscriber::set_global_default(listener).unwrap();
        log
    }

    /// Of this thread, until the guard is dropped.
    pub fn of_the_thread() -> (Log, tracing::subscriber::DefaultGuard) {
        // Where nobody listens in general, a place in the program that another thread comes by first is not asked about again.
        static IN_GENERAL: Once = Once::new();
        IN_GENERAL.call_once(|| {
            let _ = tracing::subscriber::set_global_default(tracing_subscriber::registry());
        });
        let log = Log::default();
        let listener = telemetry::listener(EnvFilter::new("trace"), log.clone());
        let listening = tracing::subscriber::set_default(listener);
        (log, listening)
    }

    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.0.lock().unwrap()).into_owned()
    }
}
