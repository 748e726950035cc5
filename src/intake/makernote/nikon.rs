//! Nikon: lens data (plain and enciphered), focus areas, focus mode.

use super::{CENTRE, Note, Notes, Record, lens_name, nikon_cipher, point, record};
use crate::intake::ifd::{Block, Ifd};
use crate::quantity::{Distance, Point};

/// Reads a Nikon note of any of its three forms.
pub(super) fn read(note: &Note<'_>) -> Option<Notes> {
    let block = directory(note)?;
    let ifd = block.first();
    let mut notes = Notes { focus_mode: ifd.text(0x07), ..Notes::default() };
    // The second of two is the speed; the first marks extended ones.
    notes.iso = ifd.numbers(0x02).get(1).copied().filter(|v| *v > 0.0);
    notes.lens_range = lens_name(&ifd.numbers(0x84));
    lens_data(ifd, note.model, &mut notes);
    notes.point = area2(ifd, note).or_else(|| area(ifd));
    // Multiple exposure: 1 multiple exposure, 2 overlay, 3 HDR.
    notes.multi_shot = record(ifd, 0xb0)
        .and_then(|r| r.bytes.get(4..8).map(|mode| mode.iter().any(|b| matches!(b, 1..=3))))
        .unwrap_or(false);
    Some(notes)
}

/// The note's directory: with a TIFF header of its own (since 2001), after eight bytes of name (early
/// Coolpix), or bare (D1, Coolpix 990).
fn directory<'a>(note: &Note<'a>) -> Option<Block<'a>> {
    if let Some(inner) = note.bytes.strip_prefix(b"Nikon\0\x02").and_then(|b| b.get(3..)) {
        return Block::parse(inner);
    }
    note.in_block(if note.bytes.starts_with(b"Nikon\0\x01") { 8 } else { 0 })
}

/// Where a version of the lens data keeps what is wanted: distance, then the five bytes of the lens's range.
struct Layout {
    distance: Option<usize>,
    range: usize,
}

const LAYOUT_00: Layout = Layout { distance: None, range: 8 };
const LAYOUT_01: Layout = Layout { distance: Some(9), range: 13 };
const LAYOUT_04: Layout = Layout { distance: Some(10), range: 14 };
const LAYOUT_08: Layout = Layout { distance: Some(11), range: 15 };

fn lens_data(ifd: Ifd<'_>, model: &str, notes: &mut Notes) {
    let Some(data) = ifd.bytes(0x98) else { return };
    let Some(version) = data.get(..4) else { return };
    let mut data = data[..data.len().min(4096)].to_vec();
    // From version 02 on all but the version is enciphered.
    if version >= b"0201".as_slice() {
        let (Some(serial), Some(count)) = (serial_key(ifd, model), ifd.whole(0xa7)) else { return };
        nikon_cipher::decipher(&mut data[4..], serial, count);
    }
    let text = |at: usize| {
        let bytes = data.get(at..)?.split(|b| *b == 0).next()?;
        let text = String::from_utf8_lossy(&bytes[..bytes.len().min(64)]).trim().to_owned();
        (text.len() > 3 && text.is_ascii()).then_some(text)
    };
    match &data[..4] {
        b"0100" => old(&data, &LAYOUT_00, notes),
        b"0101" | b"0201" | b"0202" | b"0203" => old(&data, &LAYOUT_01, notes),
        b"0204" => old(&data, &LAYOUT_04, notes),
        b"0400" | b"0401" => notes.lens = text(394),
        b"0402" => notes.lens = text(395),
        b"0403" => notes.lens = text(684),
        [b'0', b'8', ..] => mirrorless(&data, notes),
        _ => {}
    }
}

/// The cipher's first key: the serial number where it is one, else a constant of the body.
fn serial_key(ifd: Ifd<'_>, model: &str) -> Option<u8> {
    let text = ifd.text(0x1d)?;
    if text.bytes().all(|b| b.is_ascii_digit()) {
        // Only the number's last byte counts.
        return Some(text.bytes().fold(0_u32, |n, b| n.wrapping_mul(10).wrapping_add(u32::from(b - b'0'))) as u8);
    }
    Some(if model.trim_end().ends_with(" D50") { 0x22 } else { 0x60 })
}

/// A focus distance of 0.01 m x 10^(v/40): zero is none, and above ten kilometres it is the far scene.
fn distance(v: f64) -> Option<Distance> {
    let metres = 0.01 * 10_f64.powf(v / 40.0);
    (v > 0.0).then_some(if metres >= 1e4 { Distance::Infinite } else { Distance::Finite(metres) })
}

fn old(data: &[u8], layout: &Layout, notes: &mut Notes) {
    if let Some(&v) = layout.distance.and_then(|at| data.get(at)) {
        notes.distance = distance(f64::from(v));
        notes.distance_ignored = v == 0;
    }
    // Focal lengths are 5 mm x 2^(v/24), apertures 2^(v/24): rounded, so the plain tag goes first.
    if let (None, Some(&[short, long, fast, slow])) =
        (&notes.lens_range, data.get(layout.range..layout.range + 4).and_then(|r| r.first_chunk::<4>()))
        && short > 0
    {
        let power = |v: u8| 2_f64.powf(f64::from(v) / 24.0);
        let whole = |v: u8| (5.0 * power(v)).round();
        notes.lens_range = lens_name(&[whole(short), whole(long), power(fast), power(slow)]);
    }
}

/// Z bodies: the old layout for adapted lenses, a finer one for their own.
fn mirrorless(data: &[u8], notes: &mut Notes) {
    let record = Record { bytes: data, little_endian: true };
    let adapted = data.get(5..21).is_some_and(|part| part.iter().any(|b| *b != 0));
    // Mount type 1 is Z.
    if record.u8(0x35) == Some(1) {
        let infinite = record.u8(0x4c) == Some(0);
        let fine = record.u16(0x4e).map(|v| f64::from(v) / 256.0);
        notes.distance = match (infinite, fine) {
            (true, Some(v)) if v > 0.0 => Some(Distance::Infinite),
            (false, Some(v)) => distance(v),
            _ => None,
        };
    } else if adapted {
        old(data, &LAYOUT_08, notes);
    }
}

/// The first record of focus areas: which of a handful of points; only the middle one's place is known for
/// every body.
fn area(ifd: Ifd<'_>) -> Option<Point> {
    (record(ifd, 0x88)?.u16(2)? == 1).then_some(CENTRE)
}

/// The second record: the area's middle in pixels where the sensor itself focused, else the number of a point.
fn area2(ifd: Ifd<'_>, note: &Note<'_>) -> Option<Point> {
    let record = record(ifd, 0xb7)?;
    let version = record.bytes.get(..4)?;
    let sensor = record.u8(4)?;
    let at = match version {
        b"0100" => 0x10,
        b"0101" => 0x46,
        [b'0', b'3', ..] => 0x2a,
        [b'0', b'4', ..] => 0x3e,
        _ => return None,
    };
    let placed = match version {
        b"0100" | b"0101" => sensor == 1,
        b"0300" => sensor == 2,
        [b'0', b'3', ..] => sensor == 1 || sensor == 2,
        _ => true,
    };
    if placed {
        let value = |i: usize| record.u16(at + 2 * i).map(f64::from);
        let (width, height, x, y) = (value(0)?, value(1)?, value(2)?, value(3)?);
        return if x > 0.0 && y > 0.0 { point(x, y, width, height) } else { None };
    }
    let (system, primary) = match version {
        b"0100" => (record.u8(6)?, record.u8(7)?),
        b"0101" => (record.u8(6)?, record.u8(0x44)?),
        _ => return None,
    };
    match (system, primary) {
        // Point 1 is the middle one in every numbering.
        (1.., 1) => Some(CENTRE),
        (1, n) => of_51(n, note),
        // Where the other systems' points lie differs with the body and is not published by the maker.
        _ => None,
    }
}

/// Columns and rows of the 51-point sensor (Multi-CAM 3500), mm apart. From memory of the maker's viewfinder
/// diagrams, no published source; a point is good to about half a tile of the default grid.
const COLUMN_MM: f64 = 1.63;
const ROW_MM: f64 = 1.8;

/// The 51 points in the order of their numbers: row letter from the top, column from the left.
const POINTS_51: [&[u8; 3]; 51] = [
    b"C06", b"B06", b"A05", b"D06", b"E05", b"C07", b"B07", b"A06", b"D07", b"E06", b"C05", b"B05", b"A04", b"D05",
    b"E04", b"C08", b"B08", b"A07", b"D08", b"E07", b"C09", b"B09", b"A08", b"D09", b"E08", b"C10", b"B10", b"A09",
    b"D10", b"E09", b"C11", b"B11", b"D11", b"C04", b"B04", b"A03", b"D04", b"E03", b"C03", b"B03", b"A02", b"D03",
    b"E02", b"C02", b"B02", b"A01", b"D02", b"E01", b"C01", b"B01", b"D01",
];

/// The place of one of the 51 points in a frame whose size follows from the equivalent focal length.
fn of_51(number: u8, note: &Note<'_>) -> Option<Point> {
    let &[row, tens, ones] = POINTS_51.get(usize::from(number).checked_sub(1)?).copied()?;
    let row = f64::from(row) - f64::from(b'C');
    let column = f64::from(tens - b'0') * 10.0 + f64::from(ones - b'0');
    // The outer rows have nine columns, the others eleven.
    let middle = if row.abs() > 1.5 { 5.0 } else { 6.0 };
    let crop = note.focal_35mm? / note.focal_mm?;
    if !(0.9..3.0).contains(&crop) {
        return None;
    }
    let (width, height) = (36.0 / crop, 24.0 / crop);
    point(width / 2.0 + (column - middle) * COLUMN_MM, height / 2.0 + row * ROW_MM, width, height)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_follow_the_published_scale() {
        // v = 80 is one metre on a scale of 40 steps a decade from a centimetre.
        assert_eq!(distance(0.0), None);
        assert!(matches!(distance(80.0), Some(Distance::Finite(m)) if (m - 1.0).abs() < 1e-12));
        assert_eq!(distance(255.0), Some(Distance::Infinite));
    }

    #[test]
    fn every_point_of_the_51_is_named_once_and_lies_in_the_frame() {
        let note = Note {
            bytes: &[],
            offset: 0,
            block: &[],
            little_endian: true,
            model: "",
            focal_35mm: Some(75.0),
            focal_mm: Some(50.0),
            frame: None,
        };
        let mut places: Vec<Point> = (1..=51).filter_map(|n| of_51(n, &note)).collect();
        assert_eq!(places.len(), 51);
        assert_eq!(places[0], CENTRE);
        places.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
        places.dedup();
        assert_eq!(places.len(), 51);
        assert_eq!(of_51(0, &note), None);
        assert_eq!(of_51(52, &note), None);
    }
}
