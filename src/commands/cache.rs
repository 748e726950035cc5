//! Remembered measurements: how many there are, and forgetting them.

use std::time::{SystemTime, UNIX_EPOCH};

use anyhow::Context as _;
use schemars::JsonSchema;
use serde::Serialize;

use super::{Outcome, remember};
use crate::output::{self, store};
use crate::quantity::shown;

/// `tussock.cache`, version 1: what `tussock cache show --json` and `tussock cache clear --json` print; each leaves out the
/// other's keys.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(untagged)]
pub(crate) enum CacheView {
    /// What is remembered.
    Shown {
        /// Always `tussock.cache`.
        format: &'static str,
        /// Version of this format.
        version: u32,
        /// Bytes of remembered measurements; null where nothing is remembered.
        bytes: Option<u64>,
        /// The most that are kept.
        most_bytes: u64,
        /// The file they are kept in.
        place: String,
    },
    /// What was forgotten.
    Cleared {
        /// Always `tussock.cache`.
        format: &'static str,
        /// Version of this format.
        version: u32,
        /// Bytes that were forgotten; null where there was nothing to forget.
        forgotten_bytes: Option<u64>,
    },
}

const FORMAT: &str = "tussock.cache";

/// Forgets what was not asked for in the last `older` days, or all; `json`: whether to say so in JSON.
///
/// # Errors
/// Where there is something that can't be forgotten.
pub(crate) fn clear(older: Option<u32>, json: bool) -> anyhow::Result<Outcome> {
    let forgotten = match older {
        None => all()?,
        Some(days) => remember::stored()?.map(|mut store| {
            let now = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |d| d.as_secs());
            store.forget(now.saturating_sub(u64::from(days) * 24 * 3600))
        }),
    };
    if json {
        let told = CacheView::Cleared { format: FORMAT, version: 1, forgotten_bytes: forgotten };
        output::print_json(&output::json(&told)?);
    } else {
        output::print(&match forgotten {
            Some(bytes) => format!("Forgot {} of remembered measurements.\n", amount(bytes)),
            None => "There was nothing to forget.\n".into(),
        });
    }
    Ok(Outcome::Done)
}

/// Says how much is remembered, and where; `json`: in JSON.
///
/// # Errors
/// Where the system names no folder for it.
pub(crate) fn show(json: bool) -> anyhow::Result<Outcome> {
    let place = remember::place()?;
    let bytes = std::fs::metadata(&place).ok().map(|m| m.len());
    if json {
        let place = place.to_string_lossy().into_owned();
        let told = CacheView::Shown { format: FORMAT, version: 1, bytes, most_bytes: store::BOUND, place };
        output::print_json(&output::json(&told)?);
    } else {
        output::print(&match bytes {
            Some(bytes) => {
                let most = amount(store::BOUND);
                format!("{} of remembered measurements, of at most {most}: {}\n", amount(bytes), shown(&place))
            }
            None => "Nothing is remembered.\n".into(),
        });
    }
    Ok(Outcome::Done)
}

/// Megabytes, or gigabytes where there are a thousand of them.
fn amount(bytes: u64) -> String {
    let (size, unit) = if bytes < 1_000_000_000 { (1e6, "MB") } else { (1e9, "GB") };
    format!("{:.1} {unit}", bytes as f64 / size)
}

/// Removes the store and a damaged one beside it; their bytes, `None` where there was neither.
fn all() -> anyhow::Result<Option<u64>> {
    let place = remember::place()?;
    let mut forgotten = None;
    for path in [store::aside(&place), place] {
        if let Ok(facts) = std::fs::symlink_metadata(&path) {
            std::fs::remove_file(&path).with_context(|| format!("cannot remove {}", shown(&path)))?;
            *forgotten.get_or_insert(0) += facts.len();
        }
    }
    Ok(forgotten)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Decimal prefixes, as the International System of Units has them.
    #[test]
    fn thousands_of_megabytes_are_gigabytes() {
        let said = [0, 72_300_000, 999_900_000, 1 << 33].map(amount);
        assert_eq!(said, ["0.0 MB", "72.3 MB", "999.9 MB", "8.6 GB"]);
    }
}
