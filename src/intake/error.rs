//! IntakeError: which file, what went wrong, what to try. Unreadable is not the same as unsupported.

use std::path::{Path, PathBuf};

use thiserror::Error;

/// Why a file could not be read.
#[derive(Debug, Error)]
#[error("{}: {problem}", path.display())]
pub struct IntakeError {
    /// The file.
    pub path: PathBuf,
    /// Whose fault it is.
    pub kind: IntakeErrorKind,
    /// What is wrong, a clause a photographer understands.
    pub problem: String,
    /// What to try, a sentence.
    pub advice: String,
}

/// Sorts failures by where the fault lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum IntakeErrorKind {
    /// The operating system would not let us read it.
    Unreadable,
    /// The file is damaged, truncated or empty.
    Damaged,
    /// A sound file of a kind that can't be decoded here.
    Unsupported,
    /// Decoding asked for more memory or time than allowed.
    TooMuch,
}

impl IntakeError {
    /// A file of a kind that is not decoded here.
    #[must_use]
    pub fn unsupported(path: &Path, problem: impl Into<String>) -> Self {
        Self {
            path: path.to_owned(),
            kind: IntakeErrorKind::Unsupported,
            problem: problem.into(),
            advice: "Convert it to DNG or TIFF and audit that.".into(),
        }
    }
}
