//! Pentax and Ricoh bodies with its note: focus mode and the middle focus point. No distance is recorded.

use super::{CENTRE, Note, Notes, named};

/// Reads a note: the older form has offsets from the start of the block, the newer ones from its own.
pub(super) fn read(note: &Note<'_>) -> Option<Notes> {
    let block = if note.bytes.starts_with(b"AOC\0") {
        // The order is written after the name, as blanks or zeros where it is the block's.
        note.in_block(6)?
    } else {
        let at = if note.bytes.starts_with(b"RICOH\0") { 6 } else { 8 };
        note.in_note(at + 2, note.bytes.get(at..at + 2)? == b"II")?
    };
    let ifd = block.first();
    let focus_mode = named(
        ifd.whole(0x0d),
        &[
            (0, "normal"),
            (1, "macro"),
            (2, "infinity"),
            (3, "manual"),
            (4, "super macro"),
            (5, "pan focus"),
            (16, "AF-S"),
            (17, "AF-C"),
            (18, "AF-A"),
            (32, "contrast AF"),
            (33, "tracking contrast AF"),
            (288, "face detection"),
        ],
    );
    // Points in focus: 5 is the middle one alone; the places of the others differ with the body.
    let point = (ifd.whole(0x0f) == Some(5)).then_some(CENTRE);
    Some(Notes { focus_mode, point, ..Notes::default() })
}
