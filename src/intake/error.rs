//! IntakeError: which file, what went wrong, what to try. Unreadable is not the same as unsupported.

use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::quantity::shown;

/// Longest detail that is kept, characters.
const MOST_DETAIL: usize = 300;

/// Why a file could not be read.
#[derive(Debug, Error)]
#[error("{}: {problem}", shown(path))]
pub struct IntakeError {
    /// The file.
    pub path: PathBuf,
    /// Whose fault it is.
    pub kind: IntakeErrorKind,
    /// What is wrong, a clause a photographer understands.
    pub problem: String,
    /// What to try, a sentence.
    pub advice: String,
    /// What a decoder or the system said, in its own words.
    pub detail: Option<String>,
}

/// Sorts failures by where the fault lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum IntakeErrorKind {
    /// The operating system would not let us read it.
    Unreadable,
    /// The file is damaged, truncated or empty.
    Damaged,
    /// A sound file of a kind that can't be decoded here.
    Unsupported,
    /// Decoding asked for more memory or time than allowed.
    TooMuch,
    /// This program broke down on it.
    Fault,
}

impl IntakeError {
    /// A failure from its parts.
    pub(crate) fn new(
        path: &Path,
        kind: IntakeErrorKind,
        problem: impl Into<String>,
        advice: impl Into<String>,
    ) -> Self {
        Self { path: path.to_owned(), kind, problem: problem.into(), advice: advice.into(), detail: None }
    }

    /// The failure with what a decoder or the system said of it, which only those read who ask for it.
    pub(crate) fn with_detail(mut self, detail: impl Into<String>) -> Self {
        let detail: String = detail.into().chars().take(MOST_DETAIL).collect();
        self.detail = Some(detail.trim().to_owned()).filter(|d| !d.is_empty());
        self
    }

    /// A file on which this program broke down while `doing` something ("measuring it").
    pub(crate) fn fault(path: &Path, doing: &str, detail: &str) -> Self {
        let advice =
            "The other files are not affected. An export of it as TIFF may pass; please report this with the file.";
        let problem = format!("{doing} failed by a fault of this program, not of the file");
        Self::new(path, IntakeErrorKind::Fault, problem, advice).with_detail(detail)
    }

    /// What stands where a file should and is none: a pipe, a device.
    pub(crate) fn no_file(path: &Path) -> Self {
        let advice = "Name photographs or folders of photographs.";
        Self::new(path, IntakeErrorKind::Unreadable, "it is neither a file nor a folder", advice)
    }

    /// A file of a kind that is not decoded here.
    pub(crate) fn unsupported(path: &Path, problem: impl Into<String>) -> Self {
        Self::new(path, IntakeErrorKind::Unsupported, problem, "Convert it to DNG or TIFF and audit that.")
    }

    /// A file whose content is broken.
    pub(crate) fn damaged(path: &Path, problem: impl Into<String>) -> Self {
        let advice = "Copy it again from the card or a backup; if another program opens it, save it anew from there.";
        Self::new(path, IntakeErrorKind::Damaged, problem, advice)
    }

    /// A file that needs more memory or time than a photograph may.
    pub(crate) fn too_much(path: &Path, problem: impl Into<String>) -> Self {
        let advice = "If the picture really is that large, audit a smaller crop or export of it; else copy it again from the card.";
        Self::new(path, IntakeErrorKind::TooMuch, problem, advice)
    }

    /// A refusal by the operating system, put into plain words.
    pub(crate) fn from_io(path: &Path, error: &io::Error) -> Self {
        let (kind, problem, advice) = match error.kind() {
            io::ErrorKind::NotFound => (
                IntakeErrorKind::Unreadable,
                "there is no such file or folder",
                "Check the spelling, and that the card or drive is still connected.",
            ),
            io::ErrorKind::PermissionDenied => (
                IntakeErrorKind::Unreadable,
                "you are not allowed to read it",
                "Change its permissions, or copy it to a folder of your own.",
            ),
            io::ErrorKind::UnexpectedEof => {
                return Self::damaged(path, "the file ends before the picture does");
            }
            io::ErrorKind::OutOfMemory => {
                return Self::too_much(path, "there is not enough memory to read it");
            }
            io::ErrorKind::NotADirectory | io::ErrorKind::InvalidFilename => {
                (IntakeErrorKind::Unreadable, "there can be no file or folder of that name", "Check the spelling.")
            }
            _ => (
                IntakeErrorKind::Unreadable,
                "the disk or card would not give it out",
                "Check the card or drive, then try again.",
            ),
        };
        Self::new(path, kind, problem, advice).with_detail(error.to_string())
    }
}
