//! View to `audit.json`.

use std::borrow::Cow;
use std::io::{self, Write};

use serde::Serialize;

use super::view::{FrameView, View};
use crate::quantity::plain_json;

/// The view as JSON, one frame or failure a line so that lines can be searched and compared.
#[must_use]
pub fn json(view: &View) -> Vec<u8> {
    let mut out = Vec::new();
    // Writing to memory can't fail.
    let _ = write_json(view, &mut out);
    out
}

/// Writes the view as [`json`] has it.
///
/// # Errors
/// Those of the writer.
fn write_json(view: &View, out: &mut dyn Write) -> io::Result<()> {
    write_json_with(view, out, &mut |out| {
        view.frames.iter().enumerate().try_for_each(|(i, f)| out.write_all(&frame_line(i, f)))
    })
}

/// The same with lines of the frames that were made before, as [`frame_line`] makes them: what a frame holds is much, and
/// need not be in memory.
///
/// # Errors
/// Those of the writer.
pub(crate) fn write_json_with(
    view: &View,
    out: &mut dyn Write,
    frames: &mut dyn FnMut(&mut dyn Write) -> io::Result<()>,
) -> io::Result<()> {
    out.write_all(b"{\n")?;
    for (name, value) in [
        ("format", bytes(&view.format)),
        ("version", bytes(&view.version)),
        ("id", bytes(&view.id)),
        ("base", bytes(&view.base)),
        ("asked", bytes(&view.asked)),
        ("summary", bytes(&view.summary)),
    ] {
        write!(out, "\"{name}\": ")?;
        out.write_all(&value)?;
        out.write_all(b",\n")?;
    }
    out.write_all(b"\"frames\": [")?;
    frames(out)?;
    out.write_all(b"],\n")?;
    lines(out, "failures", &view.failures, ",\n")?;
    lines(out, "groups", &view.groups, ",\n")?;
    lines(out, "baselines", &view.baselines, ",\n")?;
    lines(out, "lenses", &view.lenses, "\n}\n")
}

/// The line of a frame, with what parts it from the one before.
pub(crate) fn frame_line(index: usize, frame: &FrameView) -> Vec<u8> {
    let mut line = if index == 0 { b"\n".to_vec() } else { b",\n".to_vec() };
    line.extend(bytes(frame));
    line
}

/// A list, each of its items on a line of its own: only one of them is in memory as text.
fn lines<T: Serialize>(out: &mut dyn Write, name: &str, items: &[T], after: &str) -> io::Result<()> {
    write!(out, "\"{name}\": [")?;
    for (i, item) in items.iter().enumerate() {
        out.write_all(if i == 0 { b"\n" } else { b",\n" })?;
        out.write_all(&bytes(item))?;
    }
    write!(out, "]{after}")
}

fn bytes<T: Serialize>(value: &T) -> Vec<u8> {
    // Plain structs, text and numbers always serialise; an empty value is better than a panic.
    let json = serde_json::to_string(value).unwrap_or_else(|_| "null".into());
    let safe = match plain_json(&json) {
        Cow::Borrowed(_) => None,
        Cow::Owned(safe) => Some(safe),
    };
    safe.unwrap_or(json).into_bytes()
}
