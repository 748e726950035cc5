//! Preview: the largest JPEG embedded in a file whose own pixels can't be decoded.

use std::path::Path;

use image::RgbImage;
use memchr::memmem;

use super::headers::Headers;
use super::jpeg;
use super::luminance::Read;
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
    let read = previews(&file).into_iter().find_map(|(bytes, headers)| {
        let hints = Hints::of(headers.exif_block(bytes));
        let turn = turn(&hints, orientation, quarter_turns);
        jpeg::plane(bytes, &headers, hints.named, turn, path).ok().filter(|read| read.coded.is_none())
    })?;
    Some(Read { flags: vec![Flag::Processed, Flag::Preview], ..read })
}

/// The largest preview as a picture to look at, upright.
pub(super) fn rgb(path: &Path, orientation: Option<u16>, quarter_turns: u8) -> Option<RgbImage> {
    let file = std::fs::read(path).ok()?;
    previews(&file).into_iter().find_map(|(bytes, headers)| {
        let turn = turn(&Hints::of(headers.exif_block(bytes)), orientation, quarter_turns);
        jpeg::rgb(bytes, &headers, turn, path).ok()
    })
}

/// A preview's own orientation where it states one, else the file's.
fn turn(hints: &Hints, orientation: Option<u16>, quarter_turns: u8) -> Turn {
    let own = Some(hints.orientation).filter(|o| *o != 0);
    Turn::from_exif(own.or(orientation).unwrap_or(1)).then_clockwise(quarter_turns)
}

/// The whole JPEGs inside a file, whatever the container, largest first.
pub(super) fn previews(file: &[u8]) -> Vec<(&[u8], Headers)> {
    let mut found = Vec::new();
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
        let headers = Headers::scan(&file[place..]);
        if !headers.is_whole_picture() {
            continue;
        }
        end_of_last = place + headers.end();
        let (width, height) = headers.size();
        if width.max(height) >= LEAST_SIDE {
            found.push((&file[place..end_of_last], headers));
        }
    }
    found.sort_by_key(|(_, headers)| std::cmp::Reverse(headers.size().0 * headers.size().1));
    found
}
