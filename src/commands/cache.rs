//! Forgets remembered measurements.

use super::{Outcome, remember};
use crate::output::{self, store};
use crate::quantity::shown;

/// Removes the store.
///
/// # Errors
/// Where it exists and can't be removed.
pub fn clear() -> anyhow::Result<Outcome> {
    use anyhow::Context as _;
    let place = remember::place()?;
    let mut forgotten = None;
    for path in [store::aside(&place), place] {
        if let Ok(facts) = std::fs::symlink_metadata(&path) {
            std::fs::remove_file(&path).with_context(|| format!("cannot remove {}", shown(&path)))?;
            *forgotten.get_or_insert(0) += facts.len();
        }
    }
    output::print(&match forgotten {
        Some(bytes) => format!("Forgot {:.1} MB of remembered measurements.\n", bytes as f64 / 1e6),
        None => "There was nothing to forget.\n".into(),
    });
    Ok(Outcome::Done)
}
