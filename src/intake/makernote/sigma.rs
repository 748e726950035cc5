//! Sigma: focus mode, lens range, f-number; and the list of properties in its raw files.

use super::{Note, Notes, lens_name};
use crate::intake::bodies;

/// Reads a note: a directory after ten bytes of name, with offsets from the start of the block.
pub(crate) fn read(note: &Note<'_>) -> Option<Notes> {
    let block = note.in_block(10)?;
    let ifd = block.first();
    let focus_mode = ifd.text(0x05).filter(|t| t.len() > 1).or_else(|| ifd.text(0x06)).map(|t| t.trim().to_owned());
    // Written as text "17-70" in old files, as numbers in newer ones.
    let range = ifd.text(0x0a).map(|t| numbers(&t)).unwrap_or_default();
    let focal = ifd.numbers(0x2a);
    let fast = ifd.numbers(0x2b);
    let lens_range = match (&focal[..], &fast[..], &range[..]) {
        (&[short, long], &[a, b], _) => lens_name(&[short, long, a, b]),
        (&[short, long], _, _) => lens_name(&[short, long, 0.0, 0.0]),
        (_, _, &[short, long]) => lens_name(&[short, long, 0.0, 0.0]),
        (_, _, &[only]) => lens_name(&[only, only, 0.0, 0.0]),
        _ => None,
    };
    Some(Notes { focus_mode, lens_range, ..Notes::default() })
}

fn numbers(text: &str) -> Vec<f64> {
    text.split(|c: char| !c.is_ascii_digit() && c != '.').filter_map(|t| t.parse().ok()).filter(|v| *v > 0.0).collect()
}

/// Facts out of a raw file's list of properties, where nothing better was found.
pub(crate) fn properties(list: &[(String, String)], notes: &mut Notes) {
    let text = |key: &str| list.iter().find(|(k, _)| k == key).map(|(_, v)| v.clone()).filter(|v| !v.is_empty());
    let number = |key: &str| text(key).and_then(|v| v.parse::<f64>().ok()).filter(|v| v.is_finite() && *v > 0.0);
    notes.f_number = notes.f_number.or_else(|| number("APERTURE"));
    notes.focal_length_mm = notes.focal_length_mm.or_else(|| number("FLENGTH"));
    // Microseconds.
    notes.exposure_s = notes.exposure_s.or_else(|| number("EXPTIME").map(|us| us / 1e6));
    notes.iso = notes.iso.or_else(|| number("ISO"));
    notes.body = notes.body.take().or_else(|| bodies::body(text("CAMMANUF"), text("CAMMODEL")));
    notes.focus_mode = notes.focus_mode.take().or_else(|| text("AFMODE"));
    let focal = text("LENSFRANGE").map(|t| numbers(&t)).unwrap_or_default();
    let fast = text("LENSARANGE").map(|t| numbers(&t)).unwrap_or_default();
    let ends = |v: &[f64]| v.first().copied().zip(v.last().copied());
    if let (None, Some((short, long))) = (&notes.lens_range, ends(&focal)) {
        let widest = fast.first().copied().unwrap_or(0.0);
        notes.lens_range = lens_name(&[short, long, widest, widest]);
    }
    if let (None, Some(seconds)) = (&notes.date, number("TIME")) {
        notes.date =
            jiff::Timestamp::from_second(seconds as i64).ok().map(|t| t.strftime("%Y-%m-%dT%H:%M:%S").to_string());
    }
}
