//! The makers' own blocks: one small reader a maker, all giving the same [`Notes`].
//!
//! The meaning of tags is the makers' own or was found out and published by others (the tag lists of
//! public metadata libraries); values are tidied here: fillers become absent, bounds are put in order.

mod apple;
mod canon;
mod casio;
mod fujifilm;
mod minolta;
mod nikon;
mod nikon_cipher;
mod olympus;
mod panasonic;
mod pentax;
pub mod sigma;
mod sony;

pub use nikon_cipher::decipher as nikon_decipher;

use super::containers::Contents;
use super::ifd::{Block, Ifd};
use crate::quantity::{Distance, Point};

/// What a maker note states beyond the standard tags.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Notes {
    /// f-number.
    pub f_number: Option<f64>,
    /// Focal length, mm.
    pub focal_length_mm: Option<f64>,
    /// Exposure time, s.
    pub exposure_s: Option<f64>,
    /// ISO speed.
    pub iso: Option<f64>,
    /// Camera body.
    pub body: Option<String>,
    /// Date and time, ISO 8601.
    pub date: Option<String>,
    /// Lens name as the camera has it.
    pub lens: Option<String>,
    /// Lens described by its range, where no name is recorded.
    pub lens_range: Option<String>,
    /// Focus distance.
    pub distance: Option<Distance>,
    /// Whether a distance was written that is a filler.
    pub distance_ignored: bool,
    /// Focus point in fractions of the picture as stored, before orientation.
    pub point: Option<Point>,
    /// Focus mode.
    pub focus_mode: Option<String>,
    /// Sensor width and height, mm.
    pub sensor_mm: Option<(f64, f64)>,
    /// Sizes in pixels that the focal-plane resolution may refer to.
    pub other_sizes: Vec<(u32, u32)>,
    /// Whether the file combines several exposures.
    pub multi_shot: bool,
}

/// What a maker's reader is given.
#[derive(Clone, Copy)]
pub struct Note<'a> {
    /// The bytes of the maker note.
    pub bytes: &'a [u8],
    /// Where they start in the block.
    pub offset: usize,
    /// The whole block: some makers count offsets from its start.
    pub block: &'a [u8],
    /// Byte order of the block.
    pub little_endian: bool,
    /// Camera model as recorded.
    pub model: &'a str,
    /// 35 mm equivalent focal length, mm.
    pub focal_35mm: Option<f64>,
    /// Focal length, mm.
    pub focal_mm: Option<f64>,
    /// Size of the recorded picture, px.
    pub frame: Option<(u32, u32)>,
}

impl<'a> Note<'a> {
    /// The note's directory `skip` bytes in, with offsets counted from the start of the whole block.
    pub(super) fn in_block(&self, skip: usize) -> Option<Block<'a>> {
        Block::at(self.block, self.offset.checked_add(skip)?, self.little_endian)
    }

    /// The note's directory `skip` bytes in, with offsets counted from the start of the note.
    pub(super) fn in_note(&self, skip: usize, little_endian: bool) -> Option<Block<'a>> {
        Block::at(self.bytes, skip, little_endian)
    }
}

/// Reads the maker note of a file; `frame` is the picture's size as recorded.
pub(super) fn read(contents: &Contents, frame: Option<(u32, u32)>) -> Notes {
    if let Some(heap) = &contents.ciff {
        return canon::heap(heap);
    }
    if let Some(maker) = &contents.maker {
        // Only Canon's CR3 keeps the maker note in a block of its own.
        return canon::directory(maker.first(), &model(contents));
    }
    let mut notes = note(contents, frame).unwrap_or_default();
    if !contents.properties.is_empty() {
        sigma::properties(&contents.properties, &mut notes);
    }
    notes
}

fn model(contents: &Contents) -> String {
    contents.main.as_ref().and_then(|m| m.first().text(0x110)).unwrap_or_default()
}

fn note(contents: &Contents, frame: Option<(u32, u32)>) -> Option<Notes> {
    let main = contents.main.as_ref()?;
    let exif = main.exif();
    let make = main.first().text(0x10f).unwrap_or_default().to_uppercase();
    let model = model(contents);
    let moved;
    let (bytes, offset, block, little_endian) = match exif.undefined(0x927c) {
        Some((bytes, offset)) => (bytes, offset, main.bytes(), main.little_endian()),
        None => {
            moved = converted(main.first())?;
            (moved.bytes(), moved.offset, moved.block.as_slice(), moved.little_endian)
        }
    };
    let note = Note {
        bytes,
        offset,
        block,
        little_endian,
        model: &model,
        focal_35mm: exif.positive(0xa405),
        focal_mm: exif.positive(0x920a),
        frame,
    };
    dispatch(&note, &make)
}

/// A maker note that a DNG converter moved: put back where it stood, so that its offsets hold again.
struct Moved {
    block: Vec<u8>,
    offset: usize,
    little_endian: bool,
}

impl Moved {
    fn bytes(&self) -> &[u8] {
        &self.block[self.offset..]
    }
}

/// DNG's private data as Adobe's converter writes it: "Adobe", a zero, then named parts with big-endian
/// lengths; in part "MakN" byte order, original offset and the note's bytes.
fn converted(first: Ifd<'_>) -> Option<Moved> {
    /// Notes stand in the first megabytes of the raw files they come from.
    const FARTHEST: usize = 1 << 24;
    let data = first.bytes(0xc634)?;
    if data.starts_with(b"PENTAX \0") {
        // A body that writes DNG itself: the note as it is, with offsets of its own.
        return Some(Moved { block: data.to_vec(), offset: 0, little_endian: data.get(8) == Some(&b'I') });
    }
    let mut rest = data.strip_prefix(b"Adobe\0")?;
    loop {
        let (name, after) = rest.split_at_checked(4)?;
        let (length, after) = after.split_at_checked(4)?;
        let length = u32::from_be_bytes(length.try_into().ok()?) as usize;
        let part = &after[..length.min(after.len())];
        if name == b"MakN" {
            let (order, part) = part.split_at_checked(2)?;
            let (offset, note) = part.split_at_checked(4)?;
            let offset = u32::from_be_bytes(offset.try_into().ok()?) as usize;
            if offset > FARTHEST || note.is_empty() {
                return None;
            }
            let mut block = vec![0; offset];
            block.extend_from_slice(note);
            return Some(Moved { block, offset, little_endian: order == b"II" });
        }
        // Parts are padded to an even length.
        rest = after.get(length.checked_add(length & 1)?..)?;
    }
}

/// The reader for a note, by its first bytes, else by the maker's name.
#[must_use]
pub fn dispatch(note: &Note<'_>, make: &str) -> Option<Notes> {
    let starts = |magic: &[u8]| note.bytes.starts_with(magic);
    if starts(b"Nikon\0") || make.starts_with("NIKON") {
        nikon::read(note)
    } else if starts(b"OLYMP\0") || starts(b"OLYMPUS\0") || starts(b"OM SYSTEM\0") || starts(b"EPSON\0") {
        olympus::read(note)
    } else if starts(b"Panasonic\0") || starts(b"LEICA\0") {
        panasonic::read(note)
    } else if starts(b"FUJIFILM") || starts(b"GENERALE") {
        fujifilm::read(note)
    } else if starts(b"AOC\0") || starts(b"PENTAX \0") || starts(b"RICOH\0II") || starts(b"RICOH\0MM") {
        pentax::read(note)
    } else if starts(b"SIGMA\0") || starts(b"FOVEON\0") {
        sigma::read(note)
    } else if starts(b"Apple iOS\0") {
        apple::read(note)
    } else if make.starts_with("SONY") || starts(b"SONY") {
        sony::read(note)
    } else if make.starts_with("CANON") {
        canon::read(note)
    } else if make.contains("MINOLTA") {
        minolta::read(note)
    } else if make.starts_with("CASIO") {
        casio::read(note)
    } else {
        None
    }
}

/// A distance from two bounds in metres that a maker may have written in either order, with zero for an
/// absent bound and infinity for the far end.
pub(crate) fn interval(a: f64, b: f64) -> Option<Distance> {
    let real = |v: f64| v > 0.0 && !v.is_nan();
    match (real(a), real(b)) {
        (false, false) => None,
        (true, false) => Some(Distance::from_metres(a)),
        (false, true) => Some(Distance::from_metres(b)),
        (true, true) if a == b => Some(Distance::from_metres(a)),
        (true, true) => Some(Distance::Interval { low: a.min(b), high: a.max(b) }),
    }
}

/// The middle of an area of the picture in fractions of it; `None` for an empty picture or a point outside.
pub(crate) fn point(x: f64, y: f64, width: f64, height: f64) -> Option<Point> {
    let point = Point { x: x / width, y: y / height };
    (width > 0.0 && height > 0.0 && inside(point)).then_some(point)
}

/// The middle of the picture.
pub(crate) const CENTRE: Point = Point { x: 0.5, y: 0.5 };

/// A lens told by its range, such as "18-55mm f/3.5-5.6": shortest and longest focal length in mm, then the
/// largest aperture at each; unknown apertures (zero or not a number) are left out.
pub(crate) fn lens_name(range: &[f64]) -> Option<String> {
    let &[short, long, fast, slow, ..] = range else { return None };
    let real = |v: f64| v.is_finite() && v > 0.0 && v < 1e5;
    if !real(short) || !real(long) || long < short {
        return None;
    }
    let span = |a: f64, b: f64| {
        let tidy = |v: f64| format!("{}", (v * 10.0).round() / 10.0);
        let (a, b) = (tidy(a), tidy(b));
        if a == b { a } else { format!("{a}-{b}") }
    };
    let focal = span(short, long);
    Some(match (real(fast), real(slow)) {
        (true, true) => format!("{focal}mm f/{}", span(fast, slow)),
        (true, false) => format!("{focal}mm f/{}", span(fast, fast)),
        // One focal length and no aperture name no lens.
        _ if short == long => return None,
        _ => format!("{focal}mm"),
    })
}

/// The text for a code, from a maker's table.
fn named(code: Option<u32>, table: &[(u32, &str)]) -> Option<String> {
    let code = code?;
    table.iter().find(|(c, _)| *c == code).map(|(_, text)| (*text).to_owned())
}

/// A byte, or a 16- or 32-bit number in the given order, out of a maker's binary record.
#[derive(Clone, Copy)]
struct Record<'a> {
    bytes: &'a [u8],
    little_endian: bool,
}

impl Record<'_> {
    fn u8(self, at: usize) -> Option<u8> {
        self.bytes.get(at).copied()
    }

    fn u16(self, at: usize) -> Option<u16> {
        let pair = self.bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if self.little_endian { u16::from_le_bytes(pair) } else { u16::from_be_bytes(pair) })
    }
}

/// The bytes of a tag as a record in its block's byte order.
fn record(ifd: Ifd<'_>, tag: u16) -> Option<Record<'_>> {
    Some(Record { bytes: ifd.bytes(tag)?, little_endian: ifd.block().little_endian() })
}

/// Whether a point is in the frame.
pub(super) fn inside(point: Point) -> bool {
    (0.0..=1.0).contains(&point.x) && (0.0..=1.0).contains(&point.y)
}
