//! Canon: shot, camera and file records, focus areas, lens; and the same records in the old heap of CRW.

use super::{CENTRE, Note, Notes, interval, lens_name, named, point};
use crate::intake::bodies;
use crate::intake::containers::Heap;
use crate::intake::ifd::{Block, Ifd};
use crate::quantity::{Distance, Point};

/// Reads a Canon note: a bare directory with offsets from the start of the Exif block.
pub(super) fn read(note: &Note<'_>) -> Option<Notes> {
    let block: Block<'_> = note.in_block(0)?;
    Some(directory(block.first(), note.model))
}

/// Reads the directory of a Canon note.
pub(super) fn directory(ifd: Ifd<'_>, model: &str) -> Notes {
    let mut notes = Notes::default();
    let words = |tag| ifd.words(tag).unwrap_or_default();
    camera(&words(0x01), &mut notes);
    shot(&words(0x04), &mut notes);
    let file = words(0x93);
    if notes.distance.is_none() {
        notes.distance = distance(&file, 20);
    }
    if notes.distance.is_none() {
        notes.distance = body_record(ifd, model);
    }
    notes.lens = ifd.text(0x95).filter(|name| name.chars().any(|c| c.is_ascii_digit()));
    focal(&words(0x02), units(&words(0x01)), &mut notes);
    let eos = model.to_uppercase().contains("EOS");
    notes.point = [0x26, 0x3c].into_iter().find_map(|tag| areas2(&words(tag), eos, &mut notes));
    if notes.point.is_none() {
        notes.point = areas(&words(0x12), eos, &mut notes);
    }
    // Multiple exposure and HDR records: a word that is not zero after the length.
    notes.multi_shot =
        ifd.numbers(0x4021).get(1).is_some_and(|v| *v > 0.0) || ifd.numbers(0x4025).get(1).is_some_and(|v| *v > 0.0);
    notes
}

/// Reads the records of a CRW file, whose standard facts are in them too.
pub(super) fn heap(heap: &Heap) -> Notes {
    let mut notes = Notes::default();
    let words = |tag| heap.words(tag).unwrap_or_default();
    camera(&words(0x102d), &mut notes);
    let record = words(0x102a);
    shot(&record, &mut notes);
    exposure(&record, &mut notes);
    focal(&words(0x1029), units(&words(0x102d)), &mut notes);
    let names = heap.texts(0x080a);
    notes.body = bodies::body(names.first().cloned(), names.get(1).cloned());
    let eos = names.get(1).is_some_and(|m| m.contains("EOS"));
    notes.point = areas(&words(0x1038), eos, &mut notes);
    // Three points in a row: 2 is the middle one alone.
    if notes.point.is_none() && record.get(14).map(|w| w.cast_unsigned()) == Some(0x3002) {
        notes.point = Some(CENTRE);
    }
    if let Some(&[a, b, c, d]) = heap.record(0x180e).and_then(|r| r.first_chunk::<4>()) {
        // Seconds since 1970 by the camera's own clock, without zone.
        let seconds = i64::from(u32::from_le_bytes([a, b, c, d]));
        notes.date = jiff::Timestamp::from_second(seconds)
            .ok()
            .map(|t| t.strftime("%Y-%m-%dT%H:%M:%S").to_string())
            .filter(|_| seconds > 0);
    }
    notes
}

/// Canon's scale for exposure values: steps of 1/32 in which 0x0c and 0x14 stand for thirds.
fn ev(word: i16) -> f64 {
    let value = i32::from(word).abs();
    let fraction = match value & 0x1f {
        0x0c => 32.0 / 3.0,
        0x14 => 64.0 / 3.0,
        other => f64::from(other),
    };
    f64::from(i32::from(word).signum()) * (f64::from(value & !0x1f) + fraction) / 32.0
}

/// The camera settings: focus mode and the lens's range.
fn camera(words: &[i16], notes: &mut Notes) {
    let word = |i: usize| words.get(i).map(|w| w.cast_unsigned());
    notes.focus_mode = named(
        word(7).map(u32::from),
        &[
            (0, "one-shot AF"),
            (1, "AI servo AF"),
            (2, "AI focus AF"),
            (3, "manual"),
            (4, "single"),
            (5, "continuous"),
            (6, "manual"),
            (16, "pan focus"),
            (256, "one-shot AF (live view)"),
            (257, "AF + manual"),
            (512, "movie snap AF"),
            (519, "movie servo AF"),
        ],
    );
    if let (Some(long), Some(short)) = (word(23), word(24)) {
        let units = units(words);
        notes.lens_range = lens_name(&[f64::from(short) / units, f64::from(long) / units, 0.0, 0.0]);
    }
}

/// Units of focal length to a millimetre, in which compacts write theirs.
fn units(camera: &[i16]) -> f64 {
    camera.get(25).map_or(1.0, |w| f64::from(w.cast_unsigned().max(1)))
}

/// The shot record: focus distance bounds.
fn shot(words: &[i16], notes: &mut Notes) {
    notes.distance = distance(words, 19);
}

/// The shot record's own f-number, exposure and speed, for files without Exif.
fn exposure(words: &[i16], notes: &mut Notes) {
    let word = |i: usize| words.get(i).copied();
    // 21 and 22 are as taken, 4 and 5 as metered.
    let used = |i: usize| word(i).filter(|w| *w != 0);
    notes.f_number = used(21).map(|w| (ev(w) / 2.0).exp2());
    notes.exposure_s = word(22).filter(|_| notes.f_number.is_some()).map(|w| (-ev(w)).exp2());
    if let (Some(auto), Some(base)) = (word(1), word(2)) {
        let power = |w: i16| 2_f64.powf(f64::from(w) / 32.0);
        // The base speed is written from ISO 100/32 on, the automatic one from 100 %.
        notes.iso = (base > 0).then(|| (power(base) * 100.0 / 32.0 * power(auto)).round());
    }
}

/// Upper and lower focus distance in centimetres; 65535 is infinity, and where the first is zero neither counts.
fn distance(words: &[i16], at: usize) -> Option<Distance> {
    let bound = |i: usize| words.get(i).map(|w| w.cast_unsigned());
    bounds(bound(at)?, bound(at + 1)?)
}

fn bounds(upper: u16, lower: u16) -> Option<Distance> {
    let metres = |v: u16| if v == u16::MAX { f64::INFINITY } else { f64::from(v) / 100.0 };
    if upper == 0 { None } else { interval(metres(upper), metres(lower)) }
}

/// Bodies of 2007 to 2016 that keep the distance in a record of their own, and where: model words, offset.
const BODY_RECORDS: &[(&[&str], usize)] = &[
    (&["1D MARK III", "1DS MARK III", "40D", "450D", "REBEL XSI", "KISS X2", "1000D", "REBEL XS", "KISS F"], 0x43),
    (&["5D MARK II", "50D", "500D", "REBEL T1I", "KISS X3"], 0x50),
    (&["1D MARK IV", "7D", "550D", "REBEL T2I", "KISS X4"], 0x54),
    (&["60D"], 0x55),
    (&["600D", "REBEL T3I", "KISS X5", "1200D", "REBEL T5", "KISS X70", "1100D", "REBEL T3", "KISS X50"], 0x57),
    (&["650D", "REBEL T4I", "KISS X6I", "700D", "REBEL T5I", "KISS X7I", "5D MARK III"], 0x8c),
    (&["6D"], 0x92),
    (&["70D"], 0x93),
    (&["80D", "750D", "REBEL T6I", "KISS X8I", "760D", "REBEL T6S", "8000D"], 0xa5),
];

fn body_record(ifd: Ifd<'_>, model: &str) -> Option<Distance> {
    let bytes = ifd.bytes(0x0d)?;
    let model = model.to_uppercase();
    let ends = |name: &&str| model.ends_with(*name) && !model.ends_with(&format!("-{name}"));
    let &(_, at) = BODY_RECORDS.iter().find(|(names, _)| names.iter().any(ends))?;
    let value = |i: usize| bytes.get(i..i + 2).map(|b| u16::from_be_bytes([b[0], b[1]]));
    let (upper, lower) = (value(at)?, value(at + 2)?);
    // Firmware versions move the record's fields; bounds out of order betray a wrong place.
    if lower > upper || (upper > 20_000 && upper != u16::MAX) { None } else { bounds(upper, lower) }
}

/// Focal-length record: the focal length in the camera's units, and the focal plane's size in thousandths of an inch.
fn focal(words: &[i16], units: f64, notes: &mut Notes) {
    notes.focal_length_mm = words.get(1).map(|w| f64::from(w.cast_unsigned()) / units).filter(|v| *v > 0.0);
    let size = |i: usize| words.get(i).map(|w| f64::from(w.cast_unsigned()) * 25.4 / 1000.0);
    if let (Some(width), Some(height)) = (size(2), size(3))
        && (3.0..40.0).contains(&width)
        && (2.0..30.0).contains(&height)
        && (1.0..2.0).contains(&(width / height))
    {
        notes.sensor_mm = Some((width, height));
    }
}

/// The older record of focus areas: all of one size.
fn areas(words: &[i16], eos: bool, notes: &mut Notes) -> Option<Point> {
    let count = usize::try_from(*words.first()?).ok().filter(|n| (1..=256).contains(n))?;
    let frame = frame(words.get(2..6)?, notes)?;
    let x = words.get(8..8 + count)?;
    let y = words.get(8 + count..8 + 2 * count)?;
    let bits = words.get(8 + 2 * count..)?;
    chosen(x, y, bits, frame, eos)
}

/// The newer record: a size, a mode, then lists of widths, heights and positions.
fn areas2(words: &[i16], eos: bool, notes: &mut Notes) -> Option<Point> {
    let count = usize::try_from(*words.get(2)?).ok().filter(|n| (1..=2048).contains(n))?;
    let frame = frame(words.get(4..8)?, notes)?;
    let x = words.get(8 + 2 * count..8 + 3 * count)?;
    let y = words.get(8 + 3 * count..8 + 4 * count)?;
    let bits = words.get(8 + 4 * count..)?;
    chosen(x, y, bits, frame, eos)
}

/// Notes the sizes a record of areas speaks of; gives the size its positions refer to.
fn frame(sizes: &[i16], notes: &mut Notes) -> Option<(f64, f64)> {
    let &[w, h, aw, ah] = sizes else { return None };
    for (w, h) in [(w, h), (aw, ah)] {
        let (w, h) = (u32::from(w.cast_unsigned()), u32::from(h.cast_unsigned()));
        if w >= 640 && h >= 480 && !notes.other_sizes.contains(&(w, h)) {
            notes.other_sizes.push((w, h));
        }
    }
    let (w, h) = (f64::from(aw.cast_unsigned()), f64::from(ah.cast_unsigned()));
    (w > 0.0 && h > 0.0).then_some((w, h))
}

/// The area in focus that is nearest to the middle of all those in focus. Positions count from the middle of
/// the picture, upwards on EOS bodies and downwards on others.
fn chosen(x: &[i16], y: &[i16], bits: &[i16], (width, height): (f64, f64), eos: bool) -> Option<Point> {
    let in_focus: Vec<(f64, f64)> = x
        .iter()
        .zip(y)
        .enumerate()
        .filter(|(i, _)| bits.get(i / 16).is_some_and(|w| w.cast_unsigned() >> (i % 16) & 1 == 1))
        .map(|(_, (&x, &y))| (f64::from(x), f64::from(y)))
        .collect();
    let n = in_focus.len() as f64;
    let sum = in_focus.iter().fold((0.0, 0.0), |s, p| (s.0 + p.0, s.1 + p.1));
    let middle = (sum.0 / n, sum.1 / n);
    let far = |p: &(f64, f64)| (p.0 - middle.0).hypot(p.1 - middle.1);
    let (x, y) = in_focus.into_iter().min_by(|a, b| far(a).total_cmp(&far(b)))?;
    let down = if eos { -y } else { y };
    point(width / 2.0 + x, height / 2.0 + down, width, height)
}
