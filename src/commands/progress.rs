//! A progress line on standard error: frames done, rate, time left; quiet when nobody watches.

use std::sync::atomic::{AtomicUsize, Ordering};

use indicatif::{HumanDuration, ProgressBar, ProgressDrawTarget, ProgressState, ProgressStyle};

/// A line that counts frames; hidden unless standard error is a terminal.
pub(super) struct Progress(ProgressBar, AtomicUsize);

impl Progress {
    /// A line for `frames` frames, doing `what` ("measuring").
    pub(super) fn new(what: &str, frames: usize) -> Self {
        let target =
            if crate::output::is_quiet() { ProgressDrawTarget::hidden() } else { ProgressDrawTarget::stderr() };
        let bar = ProgressBar::with_draw_target(Some(frames as u64), target);
        let style = ProgressStyle::with_template("{prefix} {bar:24} {pos} of {len} frames{msg}{pace}");
        if let Ok(style) = style {
            bar.set_style(style.progress_chars("=> ").with_key("pace", pace));
        }
        bar.set_prefix(what.to_owned());
        Self(bar, AtomicUsize::new(0))
    }

    /// Counts one frame.
    pub(super) fn step(&self) {
        self.0.inc(1);
    }

    /// Counts files that failed; each is named at the end.
    pub(super) fn failed(&self, files: usize) {
        let all = self.1.fetch_add(files, Ordering::Relaxed) + files;
        if all > 0 {
            self.0.set_message(format!(", {all} failed"));
        }
    }
}

/// Frames a minute and the time left, once a frame or two have shown them.
fn pace(state: &ProgressState, out: &mut dyn std::fmt::Write) {
    const ENOUGH: u64 = 2;
    if state.pos() >= ENOUGH {
        let left = HumanDuration(state.eta());
        // What can't be written to the line is not missed.
        let _ = write!(out, ", {:.0} a minute, {left:#} left", 60.0 * state.per_sec());
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}
