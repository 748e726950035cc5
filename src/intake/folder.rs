//! Walks files and folders, filters by kind, pairs a raw with its rendered twin, sorts.

use std::path::{Path, PathBuf};

use super::IntakeError;

/// Which of a raw file and its rendered twin stands for the frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Prefer {
    /// The raw file.
    #[default]
    Raw,
    /// The rendered file.
    Rendered,
}

/// One frame to read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Candidate {
    /// The file that stands for the frame.
    pub path: PathBuf,
    /// Its twin (the same frame in the other kind of file), not audited by itself.
    pub twin: Option<PathBuf>,
}

/// What was found under the paths the user named.
#[derive(Debug, Default)]
pub struct Found {
    /// Frames, in the order of the paths given and sorted by name within each folder.
    pub frames: Vec<Candidate>,
    /// Paths that could not be listed or do not exist.
    pub failures: Vec<IntakeError>,
}

/// Finds the frames under `paths`; a file named outright is always a candidate, whatever its extension.
#[must_use]
pub fn find(_paths: &[PathBuf], _recursive: bool, _prefer: Prefer) -> Found {
    Found::default()
}

/// Whether a name looks like a photograph to the folder walk.
#[must_use]
pub fn looks_like_photograph(_path: &Path) -> bool {
    false
}
