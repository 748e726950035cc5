//! Limits a worker process sets itself: memory and time.

use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Exit status of a worker that ran over its time.
pub(super) const OVER_TIME: i32 = 75;

/// Bounds the address space of this process, so that an absurd request fails instead of starving the machine.
#[cfg(unix)]
pub(super) fn limit_memory(bytes: u64) {
    let limit = libc::rlimit { rlim_cur: bytes as libc::rlim_t, rlim_max: bytes as libc::rlim_t };
    // SAFETY: `limit` is a whole, valid structure; a refusal leaves the limits as they were.
    unsafe { libc::setrlimit(libc::RLIMIT_AS, &raw const limit) };
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
