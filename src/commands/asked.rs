//! What an audit is asked for.

use std::path::{Path, PathBuf};

use super::frames::Wanted;
use super::sidecars::Sidecars;
use crate::quantity::Intent;
use crate::report::Theme;

/// Frames to be written at full size.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) enum Renditions {
    /// None of them.
    #[default]
    None,
    /// Each.
    All,
    /// Those whose file's name holds one of these, in small letters or capitals.
    Named(Vec<String>),
}

impl Renditions {
    /// Whether a file is among them.
    pub(super) fn of(&self, path: &Path) -> bool {
        let name = || path.file_name().unwrap_or_default().to_string_lossy().to_lowercase();
        match self {
            Self::None => false,
            Self::All => true,
            Self::Named(parts) => parts.iter().any(|part| !part.is_empty() && name().contains(&part.to_lowercase())),
        }
    }
}

/// The audit command as meant.
#[derive(Clone, Debug)]
pub(crate) struct Audit {
    /// The frames, and how they are read and measured.
    pub wanted: Wanted,
    /// Where the report goes; `None` for the default place.
    pub out: Option<PathBuf>,
    /// Whether files of a report's names that are somebody else's may be replaced; photographs never are.
    pub overwrite: bool,
    /// Whether to use and keep remembered measurements.
    pub remember: bool,
    /// Whether to write the page and its pictures, or the machine-readable files alone.
    pub page: bool,
    /// Colours of the page.
    pub theme: Theme,
    /// Print `audit.json` instead of the table.
    pub json: bool,
    /// Which frames are written at full size beside the page, for looking at any place of them.
    pub renditions: Renditions,
    /// Whether to open the page when it is written.
    pub open: bool,
    /// What the user wants of the pictures.
    pub intent: Intent,
    /// Files of learned lens baselines the user gave.
    pub lenses: Vec<PathBuf>,
    /// Files of learned lens baselines that the user's settings name, for frames that name the lens.
    pub known_lenses: Vec<PathBuf>,
    /// Whether nothing learned of a lens is used, neither stored nor from the shoot.
    pub no_lens: bool,
    /// Whether and how to write XMP sidecars beside the photographs.
    pub sidecars: Option<Sidecars>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn renditions_are_of_all_frames_or_of_those_named() {
        let path = Path::new("/moor/IMG_0412.NEF");
        let named = |parts: &[&str]| Renditions::Named(parts.iter().map(|&p| p.into()).collect());
        assert!(Renditions::All.of(path) && named(&["0499", "img_0412"]).of(path));
        assert!(!Renditions::None.of(path) && !named(&["moor", ""]).of(path));
    }
}
