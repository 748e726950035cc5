//! Olympus and OM System: focus distance, focus areas, lens, focus mode, stacked exposures.

use super::{Note, Notes, lens_name, named, point};
use crate::intake::ifd::{Block, Ifd};
use crate::quantity::{Distance, Point};

/// Reads a note of any of the three forms: old with offsets from the block's start, newer ones with their own.
pub(super) fn read(note: &Note<'_>) -> Option<Notes> {
    let order = |at: usize| note.bytes.get(at..at + 2).map(|o| o == b"II");
    let block: Block<'_> = if note.bytes.starts_with(b"OLYMPUS\0") {
        note.in_note(12, order(8)?)?
    } else if note.bytes.starts_with(b"OM SYSTEM\0") {
        note.in_note(16, order(12)?)?
    } else {
        note.in_block(8)?
    };
    let ifd = block.first();
    let mut notes = Notes::default();
    let diagonal = ifd.positive(0x205);
    if let Some(equipment) = ifd.directory(0x2010) {
        lens(equipment.first(), &mut notes);
        notes.sensor_mm = sensor(equipment.first().positive(0x103).or(diagonal));
    } else {
        notes.sensor_mm = sensor(diagonal);
    }
    if let Some(settings) = ifd.directory(0x2020) {
        let settings = settings.first();
        notes.focus_mode = focus_mode(settings);
        notes.point = area(settings);
        // Stacked image: live composite, HDR, focus stack, high resolution. Its first word is zero for none.
        notes.multi_shot = settings.numbers(0x604).first().is_some_and(|v| *v > 0.0);
    }
    if let Some(focus) = ifd.directory(0x2050) {
        // Millimetres whatever the denominator says; all ones is infinity, zero is none.
        match focus.first().rational(0x305).map(|(num, _)| num) {
            Some(u32::MAX) => notes.distance = Some(Distance::Infinite),
            Some(0) => notes.distance_ignored = true,
            Some(mm) => notes.distance = Some(Distance::Finite(f64::from(mm) / 1e3)),
            None => {}
        }
    }
    Some(notes)
}

/// A sensor of four to three with this diagonal.
fn sensor(diagonal: Option<f64>) -> Option<(f64, f64)> {
    diagonal.filter(|d| (3.0..60.0).contains(d)).map(|d| (0.8 * d, 0.6 * d))
}

fn lens(equipment: Ifd<'_>, notes: &mut Notes) {
    notes.lens = equipment.text(0x203).filter(|name| name.chars().any(|c| c.is_ascii_digit()));
    // Apertures are powers of the square root of two in steps of 1/256.
    let aperture = |tag| equipment.positive(tag).map_or(0.0, |v| (v / 512.0).exp2());
    let focal = |tag| equipment.positive(tag).unwrap_or(0.0);
    notes.lens_range = lens_name(&[focal(0x207), focal(0x208), aperture(0x205), aperture(0x206)]);
}

fn focus_mode(settings: Ifd<'_>) -> Option<String> {
    named(
        settings.whole(0x301),
        &[
            (0, "single AF"),
            (1, "sequential AF"),
            (2, "continuous AF"),
            (3, "multi AF"),
            (4, "face detection"),
            (10, "manual"),
        ],
    )
}

/// The selected point as a rectangle in fractions (after a word of unknown meaning), else the first of the
/// areas, each four bytes of left, top, right, bottom in 1/255.
fn area(settings: Ifd<'_>) -> Option<Point> {
    if let [_, x1, y1, x2, y2] = settings.numbers(0x305)[..]
        && x2 > 0.0
        && y2 > 0.0
    {
        return point((x1 + x2) / 2.0, (y1 + y2) / 2.0, 1.0, 1.0);
    }
    let areas: Vec<u32> = settings
        .numbers(0x304)
        .into_iter()
        .filter(|v| (1.0..=f64::from(u32::MAX)).contains(v))
        .map(|v| v as u32)
        .collect();
    // Several areas are the ones searched, not the one used.
    let &[area] = areas.as_slice() else { return None };
    let [x1, y1, x2, y2] = area.to_be_bytes().map(f64::from);
    point((x1 + x2) / 2.0, (y1 + y2) / 2.0, 255.0, 255.0)
}
