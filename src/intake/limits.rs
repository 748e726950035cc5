//! Limits a worker process sets itself: memory and time.

use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Exit status of a worker that ran over its time.
pub(super) const OVER_TIME: i32 = 75;

/// Bounds what this process may allocate, so that an absurd request fails instead of starving the machine.
///
/// On Linux the bound is on memory that can be written and is its own, so that neither mapped files nor address space
/// that is only reserved count; elsewhere on the address space, which has to leave room for those.
#[cfg(unix)]
pub(super) fn limit_memory(bytes: u64) {
    use rustix::process::{Resource, getrlimit, setrlimit};
    let (resource, bytes) =
        if cfg!(target_os = "linux") { (Resource::Data, bytes) } else { (Resource::As, bytes.saturating_add(1 << 30)) };
    let mut limit = getrlimit(resource);
    limit.current = Some(limit.maximum.map_or(bytes, |most| most.min(bytes)));
    // A refusal leaves the limit as it was.
    let _ = setrlimit(resource, limit);
}

#[cfg(not(unix))]
pub(super) const fn limit_memory(_bytes: u64) {}

/// Ends the process when a file takes too long.
pub(super) struct Watch {
    time: Duration,
    state: Arc<(Mutex<Option<Instant>>, Condvar)>,
}

impl Watch {
    /// Starts watching; nothing has a deadline yet.
    pub(super) fn start(time: Duration) -> Self {
        let state: Arc<(Mutex<Option<Instant>>, Condvar)> = Arc::default();
        let watched = Arc::clone(&state);
        std::thread::spawn(move || {
            let (deadline, changed) = &*watched;
            let mut guard = deadline.lock().unwrap_or_else(PoisonError::into_inner);
            loop {
                guard = match *guard {
                    None => changed.wait(guard).unwrap_or_else(PoisonError::into_inner),
                    Some(end) => {
                        let left = end.saturating_duration_since(Instant::now());
                        if left.is_zero() {
                            std::process::exit(OVER_TIME);
                        }
                        changed.wait_timeout(guard, left).unwrap_or_else(PoisonError::into_inner).0
                    }
                };
            }
        });
        Self { time, state }
    }

    fn set(&self, deadline: Option<Instant>) {
        *self.state.0.lock().unwrap_or_else(PoisonError::into_inner) = deadline;
        self.state.1.notify_one();
    }

    /// A file is begun.
    pub(super) fn begin(&self) {
        self.set(Some(Instant::now() + self.time));
    }

    /// It is done.
    pub(super) fn end(&self) {
        self.set(None);
    }
}
