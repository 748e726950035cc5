//! Forgets remembered measurements.

use super::{Outcome, remember};
use crate::output::{self, store};
use crate::quantity::shown;

/// Removes the store; `json`: whether to say so in JSON.
///
/// # Errors
/// Where it exists and can't be removed.
pub fn clear(json: bool) -> anyhow::Result<Outcome> {
    use anyhow::Context as _;
    let place = remember::place()?;
    let mut forgotten = None;
    for path in [store::aside(&place), place] {
        if let Ok(facts) = std::fs::symlink_metadata(&path) {
            std::fs::remove_file(&path).with_context(|| format!("cannot remove {}", shown(&path)))?;
            *forgotten.get_or_insert(0) += facts.len();
        }
    }
    if json {
        let told = serde_json::json!({"format": "tussock.cache", "version": 1, "forgotten_bytes": forgotten});
        output::print(&format!("{told}\n"));
        return Ok(Outcome::Done);
    }
    output::print(&match forgotten {
        Some(bytes) => format!("Forgot {:.1} MB of remembered measurements.\n", bytes as f64 / 1e6),
        None => "There was nothing to forget.\n".into(),
    });
    Ok(Outcome::Done)
}
