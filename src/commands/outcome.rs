//! The exit status a command adds up to.

use std::process::ExitCode;

/// How a command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// All that was asked was done.
    Done,
    /// Some files failed, the rest was done.
    Partly,
    /// The command was wrong, or nothing could be read.
    Nothing,
}

impl Outcome {
    /// From counts of what was done and what failed.
    pub(crate) const fn of(done: usize, failed: usize) -> Self {
        match (done, failed) {
            (0, _) => Self::Nothing,
            (_, 0) => Self::Done,
            _ => Self::Partly,
        }
    }
}

impl From<Outcome> for ExitCode {
    fn from(outcome: Outcome) -> Self {
        Self::from(match outcome {
            Outcome::Done => 0,
            Outcome::Partly => 1,
            Outcome::Nothing => 2,
        })
    }
}
