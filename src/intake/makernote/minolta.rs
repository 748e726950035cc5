//! Minolta and Konica Minolta: focus distance and mode of the DiMAGE bodies.

use super::{Note, Notes, named};
use crate::quantity::Distance;

/// Reads a note: a bare directory with offsets from the start of the block; settings are big-endian words of 32 bits.
pub(super) fn read(note: &Note<'_>) -> Option<Notes> {
    let block = note.in_block(0)?;
    let ifd = block.first();
    let settings = [0x01, 0x03].into_iter().find_map(|tag| ifd.bytes(tag))?;
    let word = |i: usize| settings.get(4 * i..4 * i + 4).and_then(|b| b.try_into().ok()).map(u32::from_be_bytes);
    let mut notes = Notes { focus_mode: named(word(48), &[(0, "AF"), (1, "manual")]), ..Notes::default() };
    // Millimetres; zero is infinity.
    notes.distance = match word(19)? {
        0 => Some(Distance::Infinite),
        mm if mm < 10_000_000 => Some(Distance::Finite(f64::from(mm) / 1e3)),
        _ => None,
    };
    Some(notes)
}
