//! Casio: object distance and focus mode of the later form of its note.

use super::{Note, Notes, named};
use crate::quantity::Distance;

/// Reads a note that begins with "QVC", or the older bare directory; offsets count from the start of the block.
pub(super) fn read(note: &Note<'_>) -> Option<Notes> {
    if !note.bytes.starts_with(b"QVC\0") {
        return older(note);
    }
    let block = note.in_block(6)?;
    let ifd = block.first();
    let mut notes = Notes { focus_mode: named(ifd.whole(0x0d), &[(0, "normal"), (1, "macro")]), ..Notes::default() };
    // Millimetres; a filler of 2^29 and more is infinity.
    notes.distance = match ifd.whole(0x2022) {
        Some(0) | None => None,
        Some(mm) if mm >= 0x2000_0000 => Some(Distance::Infinite),
        Some(mm) => Some(Distance::Finite(f64::from(mm) / 1e3)),
    };
    Some(notes)
}

fn older(note: &Note<'_>) -> Option<Notes> {
    let block = note.in_block(0)?;
    let ifd = block.first();
    let focus_mode = named(ifd.whole(0x03), &[(2, "macro"), (3, "auto"), (4, "manual"), (5, "infinity")]);
    let distance =
        ifd.whole(0x06).filter(|mm| (1..0x2000_0000).contains(mm)).map(|mm| Distance::Finite(f64::from(mm) / 1e3));
    Some(Notes { focus_mode, distance, ..Notes::default() })
}
