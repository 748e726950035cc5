//! Forgets remembered measurements.

use super::{Outcome, remember};
use crate::output;

/// Removes the store.
///
/// # Errors
/// Where it exists and can't be removed.
pub fn clear() -> anyhow::Result<Outcome> {
    use anyhow::Context as _;
    let place = remember::place()?;
    match std::fs::metadata(&place) {
        Ok(facts) => {
            std::fs::remove_file(&place).with_context(|| format!("cannot remove {}", place.display()))?;
            output::print(&format!("Forgot {:.1} MB of remembered measurements.\n", facts.len() as f64 / 1e6));
        }
        Err(_) => output::print("There was nothing to forget.\n"),
    }
    Ok(Outcome::Done)
}
