//! Panasonic and Leica bodies built with it: focus point, lens, focus mode. No distance is recorded.

use super::{Note, Notes, named, point};

/// Reads a note: a directory after the maker's name, with offsets from the start of the block.
pub(super) fn read(note: &Note<'_>) -> Option<Notes> {
    let skip = if note.bytes.starts_with(b"Panasonic\0") { 12 } else { 8 };
    let block = note.in_block(skip)?;
    let ifd = block.first();
    let focus_mode = named(
        ifd.whole(0x07),
        &[
            (1, "auto"),
            (2, "manual"),
            (4, "auto, focus button"),
            (5, "auto, continuous"),
            (6, "AF-S"),
            (7, "AF-C"),
            (8, "AF-F"),
        ],
    );
    // Two fractions of the picture; larger numbers stand for no point.
    let place = match ifd.numbers(0x4d)[..] {
        [x, y] if x > 0.0 && y > 0.0 => point(x, y, 1.0, 1.0),
        _ => None,
    };
    let lens = ifd.text(0x51).filter(|name| name.chars().any(|c| c.is_ascii_digit()));
    // HDR.
    let multi_shot = ifd.whole(0x9e).is_some_and(|v| v > 0 && v < 65_535);
    Some(Notes { focus_mode, point: place, lens, multi_shot, ..Notes::default() })
}
