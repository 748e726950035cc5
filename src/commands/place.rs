//! Where a report goes when the user doesn't say: a new folder beside the photographs, never among them.

use std::path::Path;

use anyhow::Context as _;

use crate::output::folder::Folder;
use crate::quantity::shown;

/// Claims a folder that does not exist yet, `tussock-report-<date>` (with a number behind it if taken), beside the
/// folder that `first` is or lies in.
///
/// # Errors
/// Where the path can't be resolved or no folder made there.
pub(crate) fn default_report_folder(first: &Path) -> anyhow::Result<Folder> {
    let full = first.canonicalize().with_context(|| format!("cannot find {}", shown(first)))?;
    let originals = if full.is_dir() { full.as_path() } else { full.parent().unwrap_or(&full) };
    let beside = originals.parent().unwrap_or(originals);
    let day = jiff::ZonedDateTime::now().date();
    Folder::claim_new(beside, &format!("tussock-report-{day}"))
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
            assert_eq!(place.path().parent(), Some(root.as_path()));
        }
        let taken = default_report_folder(&shoot).unwrap();
        assert_ne!(default_report_folder(&shoot).unwrap().path(), taken.path());
    }
}
