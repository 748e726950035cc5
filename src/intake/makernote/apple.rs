//! Apple: whether several exposures were combined.
//!
//! Apple writes a "focus distance range" (tag 0x0c) that it does not document. On a street scene tens of
//! metres deep it reads 0.28 to 0.56 m, so it is no subject distance and is not stated as one.

use super::{Note, Notes};

/// Reads a note: a directory after fourteen bytes of name and order, with offsets from the note's own start.
pub(super) fn read(note: &Note<'_>) -> Option<Notes> {
    let little_endian = note.bytes.get(12..14)? == b"II";
    let block = note.in_note(14, little_endian)?;
    // 3 is HDR of several exposures; 4 is the original among them.
    Some(Notes { multi_shot: block.first().whole(0x0a) == Some(3), ..Notes::default() })
}
