//! Preview: the largest JPEG embedded in a file whose own pixels can't be decoded.

use std::path::Path;

use image::RgbImage;
use memchr::memmem;

use super::jpeg::{self, Headers};
use super::raw::Read;
use super::rendered::Hints;
use super::turn::Turn;
use crate::quantity::Flag;

/// Smallest long side, in pixels, of a preview worth measuring; anything less is a thumbnail.
const LEAST_SIDE: usize = 1000;

/// Most places that look like the beginning of a JPEG to examine.
const MAX_PLACES: usize = 256;

/// Luminance of the largest preview, upright; `None` where there is none worth measuring.
pub(super) fn plane(path: &Path, orientation: Option<u16>, quarter_turns: u8) -> Option<Read> {
    let file = std::fs::read(path).ok()?;
    let (bytes, headers) = largest(&file)?;
    let hints = Hints::of(headers.exif_block(bytes));
    let turn = turn(&hints, orientation, quarter_turns);
    let plane = jpeg::plane(bytes, &headers, hints.named, turn, path).ok()?;
    Some(Read { plane, flags: vec![Flag::Processed, Flag::Preview] })
}

/// The largest preview as a picture to look at, upright.
pub(super) fn rgb(path: &Path, orientation: Option<u16>, quarter_turns: u8) -> Option<RgbImage> {
    let file = std::fs::read(path).ok()?;
    let (bytes, headers) = largest(&file)?;
    let turn = turn(&Hints::of(headers.exif_block(bytes)), orientation, quarter_turns);
    jpeg::rgb(bytes, &headers, turn, path).ok()
}

/// A preview's own orientation where it states one, else the file's.
fn turn(hints: &Hints, orientation: Option<u16>, quarter_turns: u8) -> Turn {
    let own = Some(hints.orientation).filter(|o| *o != 0);
    Turn::from_exif(own.or(orientation).unwrap_or(1)).then_clockwise(quarter_turns)
}

/// The largest whole JPEG inside a file, whatever the container.
fn largest(file: &[u8]) -> Option<(&[u8], Headers)> {
    let mut best: Option<(&[u8], Headers)> = None;
    let mut examined = 0;
    let mut end_of_last = 0;
    for place in memmem::find_iter(file, b"\xff\xd8\xff") {
        // Thumbnails inside a preview's own metadata are part of it.
        if place < end_of_last {
            continue;
        }
        examined += 1;
        if examined > MAX_PLACES {
            break;
        }
        let bytes = &file[place..];
        let headers = Headers::scan(bytes);
        if !headers.is_whole_picture() {
            continue;
        }
        end_of_last = place + headers.end();
        let (width, height) = headers.size();
        let larger = best.as_ref().is_none_or(|(_, b)| b.size().0 * b.size().1 < width * height);
        if larger && width.max(height) >= LEAST_SIDE {
            best = Some((bytes, headers));
        }
    }
    best.map(|(bytes, headers)| (&bytes[..headers.end()], headers))
}
