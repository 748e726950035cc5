//! Fujifilm: focus pixel, focus mode, lens range. No distance is recorded.

use super::{Note, Notes, lens_name, named, point};

/// Reads a note: always little-endian, with offsets from its own start, where its directory's offset stands.
pub(super) fn read(note: &Note<'_>) -> Option<Notes> {
    let offset = u32::from_le_bytes(note.bytes.get(8..12)?.try_into().ok()?) as usize;
    let block = note.in_note(offset, true)?;
    let ifd = block.first();
    let manual = ifd.whole(0x1021) == Some(1);
    let finer = ifd
        .whole(0x102d)
        .map(|settings| settings & 0xf)
        .filter(|mode| *mode > 0)
        .and_then(|mode| named(Some(mode), &[(1, "AF-S"), (2, "AF-C")]));
    let focus_mode =
        if manual { Some("manual".to_owned()) } else { finer.or_else(|| named(ifd.whole(0x1021), &[(0, "auto")])) };
    let place = match (note.frame, &ifd.numbers(0x1023)[..]) {
        (Some((width, height)), &[x, y]) if x > 0.0 && y > 0.0 => point(x, y, width.into(), height.into()),
        _ => None,
    };
    let number = |tag| ifd.positive(tag).unwrap_or(0.0);
    let lens_range = lens_name(&[number(0x1404), number(0x1405), number(0x1406), number(0x1407)]);
    Some(Notes { focus_mode, point: place, lens_range, ..Notes::default() })
}
