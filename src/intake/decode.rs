//! Decode: an opened file to its pixels, in this process or by a worker.

use std::fs::File;
use std::io::{BufReader, Read as _, Seek as _, SeekFrom};
use std::path::Path;

use image::{ImageFormat, RgbImage};

use super::containers;
use super::headers::Headers;
use super::jpeg;
use super::luminance::Read;
use super::redirected::Redirected;
use super::rendered::{self, Hints};
use super::sniff::{self, Kind};
use super::{IntakeError, avif, huge_pages, open_file, raw, refusal, xl};

/// A file, its kind, and what of it is in memory already.
pub(super) struct Input {
    pub kind: Kind,
    reader: BufReader<File>,
    /// A JPEG file's bytes and what its headers say.
    jpeg: Option<(Vec<u8>, Headers)>,
}

/// Opens a file and says what it is; the reader stands at its beginning.
pub(super) fn open(path: &Path) -> Result<(BufReader<File>, Kind), IntakeError> {
    let io = |e: &std::io::Error| IntakeError::from_io(path, e);
    let mut reader = BufReader::new(open_file(path)?);
    let kind = sniff::kind(&mut reader, path).map_err(|e| io(&e))?;
    reader.seek(SeekFrom::Start(0)).map_err(|e| io(&e))?;
    Ok((reader, kind))
}

impl Input {
    /// Opens a file whose pixels are wanted; refuses kinds that are not decoded here.
    pub(super) fn open(path: &Path) -> Result<Self, IntakeError> {
        let (mut reader, kind) = open(path)?;
        let jpeg = match kind {
            Kind::Jpeg => {
                let mut bytes = whole(&mut reader, path)?;
                let headers = Headers::scan_and_close(&mut bytes);
                Some((bytes, headers))
            }
            Kind::Png | Kind::Tiff | Kind::WebP | Kind::Raw(_) | Kind::JpegXl | Kind::Avif => None,
            Kind::Heic if cfg!(feature = "heic") => None,
            _ => return Err(refusal(kind, path)),
        };
        Ok(Self { kind, reader, jpeg })
    }

    /// Whether it is left to a worker: its decoder may break down, or what it holds may swell beyond its size.
    pub(super) fn apart(&self) -> bool {
        self.jpeg.as_ref().is_none_or(|(_, headers)| headers.heavy())
    }

    /// Luminance, upright, decoded in this process. `orientation` is what the facts say.
    pub(super) fn plane(self, orientation: Option<u16>, quarter_turns: u8, path: &Path) -> Result<Read, IntakeError> {
        if let Some((bytes, headers)) = self.jpeg {
            let hints = Hints::of(headers.exif_block(&bytes));
            let turn = hints.turn(orientation, quarter_turns);
            return jpeg::plane(&bytes, &headers, hints.named, turn, path);
        }
        match self.kind {
            Kind::Raw(_) => raw::plane(path, orientation, quarter_turns),
            Kind::JpegXl => xl::plane(path, quarter_turns),
            Kind::Avif => avif::plane(path, orientation, quarter_turns),
            #[cfg(feature = "heic")]
            Kind::Heic => super::heic::plane(path, quarter_turns),
            Kind::Tiff => {
                let reader = at_picture(self.reader, path)?;
                rendered::plane(reader, ImageFormat::Tiff, (orientation, quarter_turns), path)
            }
            kind => rendered::plane(self.reader, format(kind), (orientation, quarter_turns), path),
        }
    }

    /// A picture to look at, upright, decoded in this process.
    pub(super) fn colour(
        self,
        orientation: Option<u16>,
        quarter_turns: u8,
        path: &Path,
    ) -> Result<RgbImage, IntakeError> {
        if let Some((bytes, headers)) = self.jpeg {
            let hints = Hints::of(headers.exif_block(&bytes));
            let turn = hints.turn(orientation, quarter_turns);
            return jpeg::rgb(&bytes, &headers, turn, path);
        }
        match self.kind {
            Kind::Raw(_) => raw::colour(path, orientation, quarter_turns),
            Kind::JpegXl => xl::rgb(path, quarter_turns),
            Kind::Avif => avif::rgb(path, orientation, quarter_turns),
            #[cfg(feature = "heic")]
            Kind::Heic => super::heic::rgb(path, quarter_turns),
            Kind::Tiff => {
                let reader = at_picture(self.reader, path)?;
                rendered::rgb(reader, ImageFormat::Tiff, (orientation, quarter_turns), path)
            }
            kind => rendered::rgb(self.reader, format(kind), (orientation, quarter_turns), path),
        }
    }
}

/// A TIFF with the directory of its picture as the first, which is the only one that is decoded.
fn at_picture(mut reader: BufReader<File>, path: &Path) -> Result<Redirected<BufReader<File>>, IntakeError> {
    let directory = containers::contents(&mut reader, Kind::Tiff).and_then(|found| found.directory);
    Redirected::new(reader, directory).map_err(|e| IntakeError::from_io(path, &e))
}

/// The whole file's bytes.
fn whole(file: &mut BufReader<File>, path: &Path) -> Result<Vec<u8>, IntakeError> {
    let size = file.get_ref().metadata().map_or(0, |m| m.len());
    let mut bytes = Vec::new();
    // An end may be put behind it.
    let reserved = usize::try_from(size).ok().and_then(|n| bytes.try_reserve_exact(n.checked_add(2)?).ok());
    if reserved.is_none() {
        return Err(IntakeError::too_much(path, "there is not enough memory to read it"));
    }
    huge_pages::in_large_pages(&mut bytes);
    file.read_to_end(&mut bytes).map_err(|e| IntakeError::from_io(path, &e))?;
    Ok(bytes)
}

const fn format(kind: Kind) -> ImageFormat {
    if matches!(kind, Kind::Png) { ImageFormat::Png } else { ImageFormat::WebP }
}
