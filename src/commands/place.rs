//! Where a report goes when the user doesn't say: a new folder beside the photographs, never among them.

use std::path::{Path, PathBuf};

use anyhow::Context as _;

/// A folder that does not exist yet, `tussock-report-<date>` (with a number behind it if taken), beside the
/// folder that `first` is or lies in.
///
/// # Errors
/// Where the path can't be resolved.
pub fn default_report_folder(first: &Path) -> anyhow::Result<PathBuf> {
    let full = first.canonicalize().with_context(|| format!("cannot find {}", first.display()))?;
    let originals = if full.is_dir() { full.as_path() } else { full.parent().unwrap_or(&full) };
    let beside = originals.parent().unwrap_or(originals);
    let day = jiff::ZonedDateTime::now().date();
    let name = format!("tussock-report-{day}");
    Ok((1..)
        .map(|i| beside.join(if i == 1 { name.clone() } else { format!("{name}-{i}") }))
        .find(|p| !p.exists())
        .unwrap_or_else(|| beside.join(name)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_report_never_lands_among_the_originals() {
        let root = tempfile::tempdir().unwrap();
        let shoot = root.path().join("shoot");
        std::fs::create_dir(&shoot).unwrap();
        std::fs::write(shoot.join("a.jpg"), b"").unwrap();
        let root = root.path().canonicalize().unwrap();
        for first in [shoot.clone(), shoot.join("a.jpg")] {
            let place = default_report_folder(&first).unwrap();
            assert_eq!(place.parent(), Some(root.as_path()));
        }
        let taken = default_report_folder(&shoot).unwrap();
        std::fs::create_dir(&taken).unwrap();
        assert_ne!(default_report_folder(&shoot).unwrap(), taken);
    }
}
