//! Path to Shot: all reading is here. Originals are only ever opened for reading.

mod error;
mod folder;

pub use error::{IntakeError, IntakeErrorKind};
pub use folder::{Candidate, Found, Prefer, find, looks_like_photograph};

use std::path::Path;

use crate::quantity::Flag;
use crate::shot::{Capture, Shot};

/// What the user gives instead of, or over, what the file says. Applied last; its source is `given`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Overrides {
    /// Facts that replace the file's own.
    pub capture: Capture,
    /// Quarter turns clockwise to apply on top of the recorded orientation.
    pub turn: Option<u8>,
}

/// Facts of a file, readable even where its pixels are not.
#[derive(Clone, Debug, PartialEq)]
pub struct Facts {
    /// Capture facts.
    pub capture: Capture,
    /// Orientation as in the Exif tag, 1 to 8, where recorded.
    pub orientation: Option<u16>,
    /// Width and height of the upright full picture, px, where the file states them.
    pub size: Option<(u32, u32)>,
    /// Flags found while reading.
    pub flags: Vec<Flag>,
}

/// Reads a photograph: pixels to linear luminance, facts, overrides.
///
/// # Errors
/// [`IntakeError`] names the step that failed and what to try.
pub fn read(path: &Path, _overrides: &Overrides) -> Result<Shot, IntakeError> {
    Err(IntakeError::unsupported(path, "reading is not built yet"))
}

/// Reads the capture facts alone.
///
/// # Errors
/// [`IntakeError`] where the file can't be opened or is no picture at all; missing facts are no error.
pub fn facts(path: &Path, _overrides: &Overrides) -> Result<Facts, IntakeError> {
    Err(IntakeError::unsupported(path, "reading is not built yet"))
}

/// The upright picture in 8-bit sRGB for looking at: full size for rendered files, at least half size for raw.
///
/// # Errors
/// As [`read`].
pub fn colour(path: &Path, _overrides: &Overrides) -> Result<image::RgbImage, IntakeError> {
    Err(IntakeError::unsupported(path, "reading is not built yet"))
}
