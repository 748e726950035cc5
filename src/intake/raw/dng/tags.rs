//! Tags: the directories of a TIFF-based raw file as numbers, in both byte orders, with 32- and 64-bit offsets.

use std::collections::BTreeMap;

/// Most directories to look at; files have a handful.
const MOST_DIRECTORIES: usize = 64;

/// Tag numbers of TIFF 6.0, TIFF/EP (ISO 12234-2) and the DNG specification 1.7.
#[allow(unreachable_pub)] // A list of names.
pub(super) mod tag {
    pub const NEW_SUBFILE_TYPE: u16 = 254;
    pub const IMAGE_WIDTH: u16 = 256;
    pub const IMAGE_LENGTH: u16 = 257;
    pub const BITS_PER_SAMPLE: u16 = 258;
    pub const COMPRESSION: u16 = 259;
    pub const PHOTOMETRIC: u16 = 262;
    pub const STRIP_OFFSETS: u16 = 273;
    pub const ORIENTATION: u16 = 274;
    pub const SAMPLES_PER_PIXEL: u16 = 277;
    pub const ROWS_PER_STRIP: u16 = 278;
    pub const STRIP_BYTE_COUNTS: u16 = 279;
    pub const PLANAR_CONFIGURATION: u16 = 284;
    pub const PREDICTOR: u16 = 317;
    pub const TILE_WIDTH: u16 = 322;
    pub const TILE_LENGTH: u16 = 323;
    pub const TILE_OFFSETS: u16 = 324;
    pub const TILE_BYTE_COUNTS: u16 = 325;
    pub const SUB_IFDS: u16 = 330;
    pub const SAMPLE_FORMAT: u16 = 339;
    pub const EXIF: u16 = 34_665;
    pub const MAKER_NOTE: u16 = 37_500;
    pub const CFA_REPEAT_PATTERN_DIM: u16 = 33_421;
    pub const CFA_PATTERN: u16 = 33_422;
    pub const DNG_VERSION: u16 = 50_706;
    pub const CFA_LAYOUT: u16 = 50_711;
    pub const LINEARIZATION_TABLE: u16 = 50_712;
    pub const BLACK_LEVEL_REPEAT_DIM: u16 = 50_713;
    pub const BLACK_LEVEL: u16 = 50_714;
    pub const BLACK_LEVEL_DELTA_H: u16 = 50_715;
    pub const BLACK_LEVEL_DELTA_V: u16 = 50_716;
    pub const WHITE_LEVEL: u16 = 50_717;
    pub const DEFAULT_CROP_ORIGIN: u16 = 50_719;
    pub const DEFAULT_CROP_SIZE: u16 = 50_720;
    pub const COLOR_MATRIX_1: u16 = 50_721;
    pub const COLOR_MATRIX_2: u16 = 50_722;
    pub const ANALOG_BALANCE: u16 = 50_727;
    pub const AS_SHOT_NEUTRAL: u16 = 50_728;
    pub const AS_SHOT_WHITE_XY: u16 = 50_729;
    pub const ACTIVE_AREA: u16 = 50_829;
    pub const MASKED_AREAS: u16 = 50_830;
    pub const SUB_TILE_BLOCK_SIZE: u16 = 50_974;
    pub const ROW_INTERLEAVE_FACTOR: u16 = 50_975;
    pub const OPCODE_LIST_1: u16 = 51_008;
    pub const OPCODE_LIST_2: u16 = 51_009;
    pub const OPCODE_LIST_3: u16 = 51_022;
    pub const DEFAULT_USER_CROP: u16 = 51_125;
    pub const COLUMN_INTERLEAVE_FACTOR: u16 = 52_547;
}

/// Where a tag's values stand.
#[derive(Clone, Copy, Debug)]
struct Entry {
    kind: u16,
    count: usize,
    at: usize,
}

/// One directory of a file.
#[derive(Clone, Debug)]
pub(super) struct Directory<'a> {
    bytes: &'a [u8],
    /// Whether numbers are written with the least significant byte first.
    pub little: bool,
    entries: BTreeMap<u16, Entry>,
}

/// Unsigned number of up to eight bytes in a byte order.
pub(super) fn unsigned(bytes: &[u8], little: bool) -> u64 {
    let join = |sum: u64, b: &u8| sum << 8 | u64::from(*b);
    if little { bytes.iter().rev().fold(0, join) } else { bytes.iter().fold(0, join) }
}

/// All directories: the first, those that follow it, and the ones below them, each once.
pub(super) fn directories(bytes: &[u8]) -> Vec<Directory<'_>> {
    let little = bytes.starts_with(b"II");
    if !little && !bytes.starts_with(b"MM") || bytes.len() < 16 {
        return Vec::new();
    }
    let big = unsigned(&bytes[2..4], little) == 43;
    let first = if big { unsigned(&bytes[8..16], little) } else { unsigned(&bytes[4..8], little) };
    let mut found = Vec::new();
    let mut seen = Vec::new();
    // A stack from which the next of a chain is taken before the ones below it.
    let mut waiting = vec![first];
    while let Some(offset) = waiting.pop() {
        if offset == 0 || seen.contains(&offset) || seen.len() >= MOST_DIRECTORIES {
            continue;
        }
        seen.push(offset);
        let Some((directory, next)) = directory(bytes, usize::try_from(offset).unwrap_or(usize::MAX), little, big)
        else {
            continue;
        };
        let below = directory.numbers(tag::SUB_IFDS);
        waiting.extend(below.iter().rev().take(MOST_DIRECTORIES).map(|v| *v as u64));
        waiting.push(next);
        found.push(directory);
    }
    found
}

/// The directory at an offset and the offset of the next one.
fn directory(bytes: &[u8], offset: usize, little: bool, big: bool) -> Option<(Directory<'_>, u64)> {
    let (head, size, inline, word) = if big { (8, 20, 12, 8) } else { (2, 12, 8, 4) };
    let start = offset.checked_add(head)?;
    let count = usize::try_from(unsigned(bytes.get(offset..start)?, little)).ok()?;
    let end = start.checked_add(count.checked_mul(size)?)?;
    let mut entries = BTreeMap::new();
    for entry in bytes.get(start..end)?.chunks_exact(size) {
        let (number, kind) = (unsigned(&entry[..2], little) as u16, unsigned(&entry[2..4], little) as u16);
        let count = usize::try_from(unsigned(&entry[4..4 + word], little)).unwrap_or(usize::MAX);
        let Some(length) = count.checked_mul(width(kind)).filter(|n| *n > 0) else { continue };
        // The entry's own place, where the values are small enough to stand in it.
        let here = entry.as_ptr().addr() - bytes.as_ptr().addr() + inline;
        let at = if length <= word { here } else { usize::try_from(unsigned(&entry[inline..], little)).ok()? };
        if at.checked_add(length).is_some_and(|end| end <= bytes.len()) {
            entries.entry(number).or_insert(Entry { kind, count, at });
        }
    }
    let next = bytes.get(end..end + word).map_or(0, |b| unsigned(b, little));
    Some((Directory { bytes, little, entries }, next))
}

/// The directory of a plain TIFF at an offset.
pub(super) fn at(bytes: &[u8], offset: usize, little: bool) -> Option<Directory<'_>> {
    directory(bytes, offset, little, false).map(|(found, _)| found)
}

/// Bytes of one value of a type (TIFF 6.0, section 2; BigTIFF's 16 to 18); 0 for types that don't exist.
const fn width(kind: u16) -> usize {
    match kind {
        1 | 2 | 6 | 7 => 1,
        3 | 8 => 2,
        4 | 9 | 11 | 13 => 4,
        5 | 10 | 12 | 16 | 17 | 18 => 8,
        _ => 0,
    }
}

impl<'a> Directory<'a> {
    /// Whether the tag is there, with its values inside the file.
    pub(super) fn has(&self, tag: u16) -> bool {
        self.entries.contains_key(&tag)
    }

    /// The bytes of a tag's values, as they are.
    pub(super) fn raw(&self, tag: u16) -> Option<&'a [u8]> {
        let entry = self.entries.get(&tag)?;
        self.bytes.get(entry.at..entry.at + entry.count * width(entry.kind))
    }

    /// The directory of a plain TIFF that a tag points at.
    pub(super) fn below(&self, tag: u16) -> Option<Directory<'a>> {
        at(self.bytes, self.whole(tag)?, self.little)
    }

    /// All numbers of a tag; empty where it is missing. A rational with denominator zero is infinite or NaN.
    pub(super) fn numbers(&self, tag: u16) -> Vec<f64> {
        let (Some(entry), Some(raw)) = (self.entries.get(&tag), self.raw(tag)) else { return Vec::new() };
        raw.chunks_exact(width(entry.kind)).map(|value| number(value, entry.kind, self.little)).collect()
    }

    /// The first number of a tag.
    pub(super) fn number(&self, tag: u16) -> Option<f64> {
        let entry = self.entries.get(&tag)?;
        self.raw(tag)?.get(..width(entry.kind)).map(|value| number(value, entry.kind, self.little))
    }

    /// The first number of a tag where it is a whole one that is not negative.
    pub(super) fn whole(&self, tag: u16) -> Option<usize> {
        self.number(tag).filter(|v| *v >= 0.0 && *v < 1e15 && v.fract() == 0.0).map(|v| v as usize)
    }
}

fn number(value: &[u8], kind: u16, little: bool) -> f64 {
    let whole = |bytes: &[u8]| unsigned(bytes, little);
    match kind {
        6 => f64::from(value[0].cast_signed()),
        8 => f64::from((whole(value) as u16).cast_signed()),
        9 => f64::from((whole(value) as u32).cast_signed()),
        5 => whole(&value[..4]) as f64 / whole(&value[4..]) as f64,
        10 => {
            let part = |bytes: &[u8]| f64::from((whole(bytes) as u32).cast_signed());
            part(&value[..4]) / part(&value[4..])
        }
        11 => f64::from(f32::from_bits(whole(value) as u32)),
        12 => f64::from_bits(whole(value)),
        17 => whole(value).cast_signed() as f64,
        _ => whole(value) as f64,
    }
}
