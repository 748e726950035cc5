//! Apart: which kinds of files are decoded by workers, and what decodes each.

use std::path::Path;

use image::RgbImage;

use super::raw::{self, Read};
use super::sniff::Kind;
use super::{IntakeError, avif, open, xl};

/// Whether a kind is decoded by workers, its decoders being of the kind that may break down.
pub(super) const fn is(kind: Kind) -> bool {
    matches!(kind, Kind::Raw | Kind::JpegXl | Kind::Avif) || cfg!(feature = "heic") && matches!(kind, Kind::Heic)
}

/// Luminance, upright, decoded in this process. `orientation` is what the file's metadata say, where they do.
pub(super) fn plane(path: &Path, orientation: Option<u16>, quarter_turns: u8) -> Result<Read, IntakeError> {
    match open(path)?.1 {
        Kind::JpegXl => xl::plane(path, quarter_turns),
        Kind::Avif => avif::plane(path, orientation, quarter_turns),
        #[cfg(feature = "heic")]
        Kind::Heic => super::heic::plane(path, quarter_turns),
        _ => raw::plane(path, orientation, quarter_turns),
    }
}

/// A picture to look at, upright, decoded in this process.
pub(super) fn colour(path: &Path, orientation: Option<u16>, quarter_turns: u8) -> Result<RgbImage, IntakeError> {
    match open(path)?.1 {
        Kind::JpegXl => xl::rgb(path, quarter_turns),
        Kind::Avif => avif::rgb(path, orientation, quarter_turns),
        #[cfg(feature = "heic")]
        Kind::Heic => super::heic::rgb(path, quarter_turns),
        _ => raw::colour(path, orientation, quarter_turns),
    }
}
