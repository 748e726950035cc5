//! Stopping when asked to: the first signal lets the frames in hand finish, the second ends the program at once.

use std::sync::Arc;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};

use crate::output;

static ASKED: OnceLock<Arc<AtomicBool>> = OnceLock::new();

/// Listens for an interrupt from the keyboard, a request to terminate and the end of the terminal, from now on.
pub(super) fn listen() {
    ASKED.get_or_init(|| {
        let asked = Arc::new(AtomicBool::new(false));
        #[cfg(unix)]
        const SIGNALS: &[std::ffi::c_int] =
            &[signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM, signal_hook::consts::SIGHUP];
        #[cfg(not(unix))]
        const SIGNALS: &[std::ffi::c_int] = &[signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM];
        for &signal in SIGNALS {
            // The order counts: what ends the program looks at the flag before this very signal has set it.
            let heard = signal_hook::flag::register_conditional_shutdown(signal, 128 + signal, Arc::clone(&asked))
                .and_then(|_| signal_hook::flag::register(signal, Arc::clone(&asked)));
            if heard.is_err() {
                output::say("tussock: stopping ends the audit without a report here, since signals can't be heard");
            }
        }
        asked
    });
}

/// Forgets that somebody asked to stop: what begins now may be stopped by itself.
pub(super) fn forget() {
    if let Some(asked) = ASKED.get() {
        asked.store(false, Ordering::Relaxed);
    }
}

/// Whether somebody asked to stop.
pub(super) fn asked() -> bool {
    ASKED.get().is_some_and(|asked| asked.load(Ordering::Relaxed))
}
