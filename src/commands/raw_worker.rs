//! Decoding in child processes: setting it up, and being such a child.

use std::time::Duration;

use super::Outcome;
use super::work::Budget;
use crate::intake::{Workers, serve, use_workers};

/// The hidden subcommand that makes a process a worker.
pub(crate) const NAME: &str = "raw-worker";

/// Lets this program decode in child processes of itself, within a budget; in this process where it can't find itself.
pub(crate) fn set_up(budget: Budget) {
    use_workers(std::env::current_exe().ok().map(|program| Workers {
        program,
        arguments: vec![NAME.into()],
        memory: budget.bytes,
        side_by_side: budget.threads,
        time: Workers::TIME,
    }));
}

/// Decodes for the parent process until it closes our input.
///
/// # Errors
/// Where the parent is gone.
pub(crate) fn run(time_ms: u64) -> anyhow::Result<Outcome> {
    serve(Duration::from_millis(time_ms))?;
    Ok(Outcome::Done)
}
